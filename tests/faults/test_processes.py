"""Several processes serve one store: each knows what the others did, and none outlives the others."""

from __future__ import annotations

import copy
import json
import multiprocessing
import os
import shutil
import signal
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.store.added import MOST_ROWS
from dashboard.config import DashboardConfig, Web
from dashboard.layout import ids
from dashboard.serving import serve
from tests.ingest_files import written
from tests.ports import free_port
from tests.served import Person
from tests.signed_in import NOW, callback_request, programme_file

__all__ = ["programme_file"]

FORKS = multiprocessing.get_context("forkserver")
FORKS.set_forkserver_preload([__name__])
PATIENCE_SECONDS = 60


def wait_until(holds: Callable[[], object], what: str) -> None:
    deadline = time.monotonic() + PATIENCE_SECONDS
    while not holds():
        assert time.monotonic() < deadline, what
        time.sleep(0.02)


def run(url: str, port: int, home: str) -> None:
    """What the program does that is started; its terminal is of its own."""
    os.setpgrp()
    os.environ["HOME"] = home
    os.chdir(home)
    serve(DashboardConfig(store_url=url, clock=lambda: NOW, web=Web(port=port)), processes=2)


class Served:
    """A dashboard that two processes serve."""

    def __init__(self, store_file: Path, home: Path) -> None:
        self.port = free_port()
        self.people: list[Person] = []
        self.url = f"sqlite:///{store_file}"
        self.program = FORKS.Process(target=run, args=(self.url, self.port, str(home)))
        self.program.start()
        wait_until(self.answers, "the dashboard does not answer")
        wait_until(lambda: len(self.workers()) == 2, "there are not two processes")

    def answers(self) -> bool:
        assert self.program.is_alive()
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def workers(self) -> list[int]:
        """Processes that answer."""
        pid = self.program.pid
        return [int(n) for n in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]

    def sign_in(self, code: str) -> tuple[Person, Person]:
        """One person with a connection to each of the processes."""
        person = self.at(self.workers()[0], lambda: Person(self.port, code))
        other = copy.copy(person)
        other.connect()
        self.people += [person, other]
        self.at(self.workers()[1], lambda: other.page("/definitions"))
        return person, other

    def at(self, worker: int, act: Callable[[], Any]) -> Any:
        """Do something while all processes but one sleep, so that this one answers."""
        others = [pid for pid in self.workers() if pid != worker]
        for pid in others:
            os.kill(pid, signal.SIGSTOP)
        try:
            return act()
        finally:
            for pid in others:
                os.kill(pid, signal.SIGCONT)


@contextmanager
def served(programme_file: Path, folder: Path) -> Iterator[Served]:
    home = folder / "home"
    home.mkdir()
    found = Served(shutil.copy(programme_file, folder / "programme.sqlite"), home)
    workers = found.workers()
    try:
        yield found
        assert list(home.iterdir()) == []  # nothing is left about in a person's folders
    finally:
        for person in found.people:
            person.open.close()
        if found.program.is_alive():
            workers += found.workers()
        found.program.kill()
        found.program.join()
        for pid in workers:
            wait_until(lambda pid=pid: is_gone(pid), "a process outlives its program")


def is_gone(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return True


@pytest.fixture(scope="module")
def two(programme_file, tmp_path_factory) -> Iterator[Served]:
    with served(programme_file, tmp_path_factory.mktemp("two")) as found:
        yield found


def form(person: Person, name: str, family_id: str, agreed: str) -> dict[str, Any]:
    """The request by which a page sends the form of a call."""
    offered = {c["output"]: c for c in json.loads(person.get("/_dash-dependencies"))}
    output = next(o for o, c in offered.items() if c["inputs"][0]["id"] == ids.RECORD)
    given = {
        "form": name,
        "family_id": family_id,
        "reached": "yes",
        "agreed": agreed,
        "recheck_on": "2031-03-06",
    }
    asked = SimpleNamespace(callback_map=offered)
    return callback_request(asked, output, **{f"{ids.RECORD}.data": given})


def test_no_connection_to_the_store_crosses_the_fork(two):
    assert not two.people  # the first test: nobody has asked anything of them
    for pid in two.workers():
        opened = [str(fd.readlink()) for fd in Path(f"/proc/{pid}/fd").iterdir()]
        assert not [name for name in opened if "programme.sqlite" in name]
    # That the program itself is killed ends its processes too: `served` looks at it.


def test_a_call_recorded_through_one_process_is_in_the_next_answer_of_the_other(two):
    one, other = two.sign_in("manager")
    for family, recording, looking in (("F1", one, other), ("F3", other, one)):
        agreed = f"will look again, {family}"
        assert agreed not in looking.page("/", f"?family={family}")
        status, said = recording.call_back(form(recording, f"to {family}", family, agreed))
        assert (status, "Call recorded." in said) == (200, True), said
        assert agreed in looking.page("/", f"?family={family}")


def test_a_form_sent_to_both_processes_records_one_call(two):
    one, other = two.sign_in("manager")
    answers = [p.call_back(form(p, "sent twice", "F2", "will send a photo")) for p in (one, other)]
    assert answers[0][1].partition("recorded.")[1:] == answers[1][1].partition("recorded.")[1:]
    with Store.open(two.url) as store:
        assert list(store.all_calls("F2")["agreed"]) == ["will send a photo"]


def test_a_file_taken_in_elsewhere_is_in_the_next_answer_of_both(two, tmp_path):
    both = two.sign_in("manager")
    rows = "entry_id,line_id,done_at,kind,findings,note\ne9,L2,2031-03-03,note,,seen by nobody yet"
    with Store.open(two.url) as store:
        ingest(store, [written(tmp_path, "home_log.csv", rows)], shipped_policy(), received_at=NOW)
    assert len(both) == 2
    for person in both:
        assert "seen by nobody yet" in person.page("/family/F2")


def test_after_a_large_file_new_processes_share_what_was_read_once(two, tmp_path):
    both, before = two.sign_in("manager"), two.workers()
    row = "large{n},L2,2031-03-03,note,,one of very many"
    rows = "\n".join(row.format(n=n) for n in range(MOST_ROWS + 1))
    file = written(tmp_path, "home_log.csv", f"entry_id,line_id,done_at,kind,findings,note\n{rows}")
    with Store.open(two.url) as store:
        ingest(store, [file], shipped_policy(), received_at=NOW)
    page = both[0].page("/family/F2")
    assert "one of very many" not in page  # what was there before goes on
    assert "still being read" in page
    wait_until(lambda: not set(before) & set(two.workers()), "no process was replaced")
    assert len(two.workers()) == 2
    for person in both:
        person.open.close()  # as its process did; the next question opens another
        assert "one of very many" in person.page("/family/F2")


def test_who_signs_out_through_one_process_is_out_of_the_other(two):
    one, other = two.sign_in("prevention")
    other.page("/rates")
    assert one.sign_out() == 303
    assert other.send("GET", "/_dash-layout")[0] == 401
    assert other.send("GET", "/rates")[0] == 303


def test_who_is_ended_at_the_command_line_is_out_at_once(two):
    both = two.sign_in("reader")
    with Store.open(two.url) as store:
        store.people.end("reader", NOW, by="command line")
    assert [person.send("GET", "/_dash-layout")[0] for person in both] == [401, 401]


def test_a_process_that_dies_is_replaced_and_nobody_has_to_sign_in_again(two):
    one, other = two.sign_in("educator")
    before = two.workers()
    os.kill(before[0], signal.SIGKILL)
    wait_until(lambda: len(set(two.workers()) - set(before)) == 1, "no process took its place")
    other.page("/definitions")
    one.open.close()  # the next question opens another
    new = next(pid for pid in two.workers() if pid not in before)
    two.at(new, lambda: one.page("/definitions"))  # its token still fits


@pytest.mark.parametrize("order", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_who_stops_the_program_stops_all_of_it(programme_file, tmp_path, order):
    with served(programme_file, tmp_path) as running:
        pid = running.program.pid
        if order == signal.SIGINT:
            os.killpg(pid, order)  # Ctrl+C goes to every process of a terminal
        else:
            os.kill(pid, order)
        running.program.join(PATIENCE_SECONDS)
        assert running.program.exitcode == 0
        with socket.socket() as again:  # the port is free
            again.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            again.bind(("127.0.0.1", running.port))
