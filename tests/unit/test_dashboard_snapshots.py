"""Every request is answered from one snapshot, and a slow store holds nobody else up."""

from __future__ import annotations

import gc
import threading
import weakref
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from gunicorn.arbiter import Arbiter

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store, StoreError, added
from analysis.vocabulary import CallOutcome, Role
from dashboard.addresses.calls import Choice
from dashboard.call_actions.queries import CallActions, CallForm
from dashboard.calls.queries import CallsQueries
from dashboard.config import DashboardConfig
from dashboard.security.roles import Reader
from dashboard.session import snapshots
from dashboard.session.service import Service
from dashboard.session.session import BEHIND
from dashboard.session.snapshots import SnapshotCache
from dashboard.workers import Together
from tests.ingest_files import written
from tests.signed_in import NOW, app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]

MANAGER = Reader("N1", Role.MANAGER)
NORTH = Reader("N2", Role.MANAGER, frozenset({"North"}))
PATIENCE = 60


@pytest.fixture
def service(store_url: str) -> Iterator[Service]:
    found = Service.open(DashboardConfig(store_url=store_url, clock=lambda: NOW))
    yield found
    found.close()


def record_elsewhere(store_url: str, family: str) -> None:
    """A call that another process records."""
    with Store.open(store_url, create=False) as store:
        store.record_call(family, "N9", CallOutcome.REACHED, "well", date(2031, 3, 11), NOW)


def bands(queries: CallsQueries) -> dict[str, str]:
    view = queries.calls(Choice())
    return {row.family_id: row.band for row in (*view.rows, *view.resting)}


def call_form(family: str) -> CallForm:
    return CallForm("form 1", family, "yes", "", "2031-03-11")


# One snapshot for each request


@pytest.mark.parametrize("reader", [MANAGER, NORTH])
def test_a_change_between_two_questions_of_one_request_does_not_mix(service, store_url, reader):
    request = CallsQueries(service.session_of(reader))
    first = request.calls(Choice()).first
    assert first is not None
    before = bands(request)
    record_elsewhere(store_url, first.family_id)
    assert request.calls(Choice(page=1, per_page=100)).first == first
    assert bands(request) == before
    opened = request.opened(first.family_id, Choice(per_page=200))
    assert opened is not None
    assert opened.row == first
    assert opened.calls == ()
    assert request.calls_table(Choice())[1].count("waiting") == 0
    assert bands(CallsQueries(service.session_of(reader)))[first.family_id] == "waiting"


def test_the_head_and_the_list_of_one_page_name_the_same_first_family(app, store_url, monkeypatch):
    """Another process records a call while the page is made, after its head."""
    person = browser_of(app, "manager")
    real, made = CallsQueries.calls, []

    def calls(self: CallsQueries, choice: Choice) -> Any:
        view = real(self, choice)
        made.append(view)
        if len(made) == 1:
            record_elsewhere(store_url, view.first.family_id)
        return view

    monkeypatch.setattr(CallsQueries, "calls", calls)
    assert person.page("/").status_code == 200
    assert len(made) > 1
    assert {view.first.family_id for view in made} == {made[0].first.family_id}
    assert {view.counts["waiting"] for view in made} == {0}


@pytest.mark.parametrize("reader", [MANAGER, NORTH])
def test_after_an_action_the_same_request_answers_with_what_it_stored(service, reader):
    session = service.session_of(reader)
    queries = CallsQueries(session)
    first = queries.calls(Choice()).first
    assert first is not None
    said = CallActions(session).record_call(call_form(first.family_id))
    assert "11 Mar" in said
    assert bands(queries)[first.family_id] == "waiting"
    row = int(session.snapshot().records.calls["row"].iloc[0])
    CallActions(session).undo(row)
    assert queries.calls(Choice()).first == first


def test_the_head_of_a_page_follows_a_change_of_the_same_request_and_no_other(service, store_url):
    session = service.session_of(MANAGER)
    head = session.context()
    before = head.known_at
    file_in(store_url, "F1")
    assert session.context() is head
    session.refresh()
    after = session.context()
    assert after is not head
    assert after.known_at == session.snapshot().known_at.astimezone(session.policy.zone)
    assert before <= after.known_at


# A slow store holds nobody else up


class SlowReads:
    """Reads of the store's rows that wait until they may go on; they are counted."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.begun, self.go_on = threading.Event(), threading.Event()
        self.times = 0
        self.fault: Exception | None = None
        self._real = SnapshotCache._next

        def load(cache: SnapshotCache, *given: Any, **how: Any) -> Any:
            self.wait()
            return self._real(cache, *given, **how)

        monkeypatch.setattr(SnapshotCache, "_next", load)

    def wait(self) -> None:
        self.times += 1
        self.begun.set()
        assert self.go_on.wait(PATIENCE)
        if self.fault is not None:
            raise self.fault


def file_in(store_url: str, family: str) -> None:
    """Another process ingests a file and records a call."""
    from tests.stored_rows import file_info

    with Store.open(store_url, create=False) as store, store.writing(file_info()):
        pass
    with Store.open(store_url, create=False) as store:
        store.record_call(family, "N9", CallOutcome.REACHED, "well", date(2031, 3, 11), NOW)


def test_while_one_request_loads_the_next_snapshot_others_use_the_present_one(
    service, store_url, monkeypatch
):
    before = service.session_of(MANAGER).snapshot()
    file_in(store_url, "F2")
    slow = SlowReads(monkeypatch)
    with ThreadPoolExecutor(4) as pool:
        loads = pool.submit(lambda: service.session_of(MANAGER).snapshot())
        assert slow.begun.wait(PATIENCE)
        others = [pool.submit(lambda: service.session_of(MANAGER).snapshot()) for _ in range(8)]
        assert all(other.result(PATIENCE) is before for other in others)
        north = pool.submit(lambda: bands(CallsQueries(service.session_of(NORTH))))
        assert "F3" not in north.result(PATIENCE)
        assert not loads.done()
        slow.go_on.set()
        after = loads.result(PATIENCE)
    assert len(after.records.calls) == 1
    assert slow.times == 1
    assert service.session_of(MANAGER).snapshot() is after


def test_requests_that_wait_for_the_first_snapshot_do_not_each_load_it(service, monkeypatch):
    slow = SlowReads(monkeypatch)
    with ThreadPoolExecutor(6) as pool:
        asked = [pool.submit(lambda: service.session_of(MANAGER).snapshot()) for _ in range(6)]
        assert slow.begun.wait(PATIENCE)
        slow.go_on.set()
        found = {id(one.result(PATIENCE)) for one in asked}
    assert (len(found), slow.times) == (1, 1)


def test_an_action_waits_for_what_it_stored_also_while_another_request_loads(
    service, store_url, monkeypatch
):
    session = service.session_of(MANAGER)
    first = CallsQueries(session).calls(Choice()).first
    assert first is not None
    file_in(store_url, "F2")
    slow = SlowReads(monkeypatch)
    with ThreadPoolExecutor(2) as pool:
        loads = pool.submit(lambda: service.session_of(MANAGER).snapshot())
        assert slow.begun.wait(PATIENCE)
        acts = pool.submit(CallActions(session).record_call, call_form(first.family_id))
        slow.go_on.set()
        assert "Call recorded" in acts.result(PATIENCE)
        loads.result(PATIENCE)
    assert bands(CallsQueries(session))[first.family_id] == "waiting"


def test_a_load_that_fails_leaves_the_next_request_to_try_again(service, store_url, monkeypatch):
    service.session_of(MANAGER).snapshot()
    file_in(store_url, "F2")
    slow = SlowReads(monkeypatch)
    slow.go_on.set()
    slow.fault = StoreError("The disk is full.")
    with pytest.raises(StoreError, match="full"):
        service.session_of(MANAGER).snapshot()
    slow.fault = None
    assert len(service.session_of(MANAGER).snapshot().records.calls) == 1


def test_the_snapshot_of_yesterday_is_not_shown_as_todays(store_url, monkeypatch):
    now = [NOW]
    service = Service.open(DashboardConfig(store_url=store_url, clock=lambda: now[0]))
    try:
        service.session_of(MANAGER).snapshot()
        now[0] = NOW.replace(day=5)
        slow = SlowReads(monkeypatch)
        with ThreadPoolExecutor(2) as pool:
            asked = [pool.submit(lambda: service.session_of(MANAGER).snapshot()) for _ in range(2)]
            assert slow.begun.wait(PATIENCE)
            slow.go_on.set()
            assert {one.result(PATIENCE).as_of for one in asked} == {date(2031, 3, 5)}
    finally:
        service.close()


# Memory


@pytest.fixture
def few_are_many(monkeypatch) -> None:
    """Everything is read again after each stored row, as it is after many in a large store."""
    monkeypatch.setattr(added, "MOST_ROWS", 0)


def ingest_elsewhere(store_url: str, folder: Path, number: int) -> None:
    """A file that another process ingests."""
    head = "entry_id,line_id,done_at,kind,findings,note"
    row = f"more{number},L2,2031-03-03,note,,seen by nobody yet"
    file = written(folder, f"home_log_{number}.csv", f"{head}\n{row}")
    with Store.open(store_url, create=False) as store:
        ingest(store, [file], shipped_policy(), received_at=NOW)


def looked_at(service: Service, reader: Reader) -> weakref.ref[Any]:
    """Look at a snapshot in a frame of its own: what counts lines keeps what a frame holds."""
    found = service.session_of(reader).snapshot()
    _ = found.calls, found.tallies
    return weakref.ref(found)


@pytest.mark.parametrize("all_again", [True, False])
def test_after_days_and_files_one_snapshot_is_in_memory(
    store_url, tmp_path, monkeypatch, all_again
):
    if all_again:
        monkeypatch.setattr(added, "MOST_ROWS", 0)
    now = [NOW]
    service = Service.open(DashboardConfig(store_url=store_url, clock=lambda: now[0]))
    looked = []
    try:
        for number in range(4):
            ingest_elsewhere(store_url, tmp_path, number)
            now[0] += timedelta(days=number // 2)
            looked += [looked_at(service, reader) for reader in (MANAGER, NORTH)]
        gc.collect()
        assert len({id(one) for one in looked}) == 8
        assert sum(one() is not None for one in looked) == 2  # the whole one and that of a site
    finally:
        service.close()


def test_a_process_that_shares_its_memory_leaves_reading_everything_to_the_program(
    service, store_url, tmp_path, few_are_many
):
    asked = []
    before = service.session_of(MANAGER).snapshot()
    service.share(lambda: asked.append(1))
    for number in range(2):
        ingest_elsewhere(store_url, tmp_path, number)
        assert service.session_of(MANAGER).snapshot() is before
        assert BEHIND in service.session_of(MANAGER).context().caveats
    assert asked == [1]
    session = service.session_of(MANAGER)
    session.refresh()  # as after an act of this request itself
    assert len(session.snapshot().ingests) == len(before.ingests) + 2
    assert BEHIND not in session.context().caveats
    assert asked == [1, 1]  # so that what is read here alone is soon shared


def test_a_process_that_is_not_replaced_reads_everything_by_itself(
    service, store_url, tmp_path, few_are_many, monkeypatch
):
    before = service.session_of(MANAGER).snapshot()
    service.share(lambda: None)
    ingest_elsewhere(store_url, tmp_path, 1)
    monkeypatch.setattr(snapshots, "RENEWAL_SECONDS", 0.0)
    assert service.session_of(MANAGER).snapshot() is before
    after = service.session_of(MANAGER).snapshot()
    assert len(after.ingests) == len(before.ingests) + 1


@pytest.fixture
def program(app, monkeypatch) -> Iterator[tuple[Together, list[int]]]:
    """What forks the processes of a dashboard, without gunicorn; and the forks that it made."""
    forked: list[int] = []
    monkeypatch.setattr(Arbiter, "__init__", lambda self, given: setattr(self, "app", given))
    monkeypatch.setattr(Arbiter, "manage_workers", lambda self: None)
    monkeypatch.setattr(Together, "spawn_worker", lambda self: forked.append(1))
    app.warm_up()
    made = Together(SimpleNamespace(dashboard=app))
    made._num_workers = 2
    yield made, forked
    gc.unfreeze()


def test_on_a_new_day_the_program_reads_once_and_forks_new_processes(program, app, clock):
    arbiter, forked = program
    arbiter.manage_workers()
    assert forked == []
    clock.move(days=1)
    for _ in range(3):
        arbiter.manage_workers()
    assert forked == [1, 1]
    assert app.service.version[1] == date(2031, 3, 5)


def test_processes_that_ask_while_nothing_has_changed_are_not_replaced(program, store_url):
    arbiter, forked = program
    arbiter.handle_usr1()
    assert forked == []
    record_elsewhere(store_url, "F1")
    arbiter.handle_usr1()
    arbiter.handle_usr1()
    assert forked == [1, 1]


def test_a_store_that_cannot_be_read_replaces_no_process(program, app, clock, monkeypatch):
    arbiter, forked = program

    def broken(*_: object, **__: object) -> None:
        raise StoreError("The store can't be reached.")

    monkeypatch.setattr(SnapshotCache, "_next", broken)
    clock.move(days=1)
    arbiter.manage_workers()
    assert forked == []
    monkeypatch.undo()
    assert app.warm_up()
