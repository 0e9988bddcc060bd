"""What a person is shown as changed: since the last visit, for each person, in every process."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import NewCall, Store
from analysis.vocabulary import CallOutcome
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.layout import ids
from tests.signed_in import (
    NOW,
    Clock,
    app,
    browser_of,
    callback_request,
    clock,
    programme_file,
    store_url,
)

__all__ = ["app", "clock", "programme_file", "store_url"]

HOUR = timedelta(hours=1)


@pytest.fixture
def store(store_url: str) -> Any:
    with Store.open(store_url) as opened:
        yield opened


def seen(store: Store, at: datetime, shown: bytes, **how: Any) -> bytes | None:
    before = store.people.seen_before("N1", "calls", at, shown, **how)
    return None if before is None else before.seen


def test_a_visit_is_compared_with_what_was_seen_last_on_the_one_before(store: Store) -> None:
    assert seen(store, NOW, b"a") is None
    assert seen(store, NOW + HOUR / 4, b"b") is None  # the same visit, the first one
    assert seen(store, NOW + HOUR, b"c") == b"b"
    assert seen(store, NOW + HOUR * 1.25, b"d") == b"b"  # reloading does not make it old
    assert seen(store, NOW + HOUR * 2, b"e") == b"d"
    assert store.people.seen_before("N2", "calls", NOW + HOUR * 2, b"e") is None


def test_a_page_that_asks_by_itself_has_not_been_looked_at(store: Store) -> None:
    seen(store, NOW, b"a")
    assert seen(store, NOW + HOUR, b"b", looks=False) == b"a"
    assert seen(store, NOW + HOUR, b"c") == b"a"


def test_what_is_marked_as_seen_is_compared_with_from_then_on(store: Store) -> None:
    seen(store, NOW, b"a")
    store.people.mark_seen("N1", "calls", NOW + HOUR, b"b")
    assert seen(store, NOW + HOUR, b"b") == b"b"
    assert seen(store, NOW + HOUR * 1.1, b"c") == b"b"


def test_a_look_at_what_is_unchanged_writes_nothing(store: Store) -> None:
    def noted() -> Any:
        with store.people._database.reading() as connection:
            return connection.exec_driver_sql("SELECT seen_at FROM visits").scalar()

    seen(store, NOW, b"a")
    first = noted()
    seen(store, NOW + timedelta(minutes=1), b"a")
    assert noted() == first
    seen(store, NOW + timedelta(minutes=6), b"a")
    assert noted() > first


def record_call(store: Store, family: str, by: str, at: datetime) -> None:
    call = NewCall(
        family, by, CallOutcome.REACHED, at, at.date(), recheck_on=at.date() + 2 * 24 * HOUR
    )
    store.record_calls([call], by, at)


def log_a_red_flag(store_url: str, folder: Path, at: datetime) -> None:
    file = folder / "later.csv"
    file.write_text(
        "entry_id,line_id,done_at,kind,findings\nx1,L3,2031-03-04T08:50,skin_check,fever\n"
    )
    with Store.open(store_url) as store:
        assert ingest(store, [file], shipped_policy(), received_at=at).refused == 0


def test_the_morning_begins_with_what_others_did_and_what_came_in(
    app: Any, store_url: str, store: Store, clock: Clock, tmp_path: Path
) -> None:
    manager = browser_of(app, "manager")
    assert "last looked" not in manager.page("/").text  # nobody has been there before
    record_call(store, "F2", "N1", NOW + HOUR / 2)
    log_a_red_flag(store_url, tmp_path, NOW + HOUR / 2)
    clock.move(hours=1)
    manager.sign_out()

    # Another process of the dashboard, another sign-in.
    other = create_app(DashboardConfig(store_url=store_url, clock=clock))
    manager = browser_of(other, "manager")
    text = manager.page("/").text
    assert "Since you last looked, today 09:00" in text
    assert "1 new red flag" in text
    assert "1 family no longer to call, 1 call by others" in text
    assert "N1, today 09:30: reached the family" in text
    assert "Since you last looked, today 09:00" in manager.page("/families").text
    assert "last looked" not in browser_of(other, "N1").page("/").text

    # Under a site, only what is of its families.
    assert "1 new red flag" not in manager.page("/", "?site=North").text
    assert "1 call by others" not in manager.page("/", "?site=South").text

    name = next(name for name in other.callback_map if name.startswith("changes-calls.children@"))
    mark = callback_request(other, name, **{"seen-calls.data": 1})
    assert "Nothing has changed since you last looked, today 10:00." in manager.ask(mark).text
    assert "Nothing has changed" in manager.page("/families").text
    other.service.close()


def test_what_a_person_did_is_no_news_to_that_person(app: Any, store: Store, clock: Clock) -> None:
    browser_of(app, "N1").page("/")
    clock.move(hours=1)
    nurse = browser_of(app, "N1")
    nurse.page("/")
    record_call(store, "F2", "N1", NOW + HOUR)
    assert "Nothing has changed since you last looked, today 09:00." in nurse.page("/").text


def test_a_new_red_flag_is_read_aloud_on_a_page_that_is_open(
    app: Any, store_url: str, clock: Clock, tmp_path: Path
) -> None:
    manager = browser_of(app, "manager")
    manager.page("/")
    name = next(name for name in app.callback_map if f"{ids.CALLS_LIST}.children" in name)
    shown = {"family": "F1", "search": "", "changed": 0, "list": "", "flags": {"F1": 99}}
    values = {"url.search": "", "url.pathname": "/", "opened.data": shown, "changed.data": 0}
    request = callback_request(app, name, **values, **{"looked.data": {"at": 1, "there": True}})
    request["changedPropIds"] = ["looked.data"]
    assert "New red flag" not in manager.ask(request).text
    log_a_red_flag(store_url, tmp_path, NOW)
    assert "New red flag: family F3. Fever, reported 4 Mar." in manager.ask(request).text


def test_prevention_is_shown_more_events_and_notes_of_others(
    app: Any, store: Store, store_url: str, clock: Clock, tmp_path: Path
) -> None:
    assert "last looked" not in browser_of(app, "prevention").page("/rates").text
    clock.move(hours=1)
    store.annotate(clock.now.date(), "new gloves", site=None, made_by="manager", made_at=clock.now)
    text = browser_of(app, "prevention").page("/rates").text
    assert "Since you last looked, today 09:00" in text
    assert "1 note by others on the chart" in text


def test_the_educator_is_shown_that_nothing_changed(app: Any, clock: Clock) -> None:
    browser_of(app, "educator").page("/retraining")
    clock.move(hours=1)
    text = browser_of(app, "educator").page("/retraining").text
    assert "Nothing has changed since you last looked, today 09:00." in text
