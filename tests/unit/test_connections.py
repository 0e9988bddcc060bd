"""A new connection goes to the process that holds fewest, and none waits for one that is stuck."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import ExitStack
from types import SimpleNamespace

import pytest

from dashboard.connections import PLACES, Connections
from dashboard.receiving import LOOKS, MOST_BYTES, Server
from dashboard.workers import Program


class Two:
    """Two servers on one socket, as two processes are, and who connects to them."""

    def __init__(self, listening: socket.socket, opened: ExitStack) -> None:
        self.address, self.opened = listening.getsockname(), opened
        self.all = Connections()
        self.first, self.second = (self.server(listening, n) for n in (0, 1))

    def server(self, listening: socket.socket, number: int) -> Server:
        held = self.all.of(number)
        server = Server(None, listening, 1, lambda *_: MOST_BYTES, finds_accounts=False, held=held)
        self.opened.callback(server.task_dispatcher.shutdown)
        self.opened.callback(server.asyncore.close_all, server._map)
        assert server.readable()
        return server

    def connect(self) -> None:
        """Somebody connects; nobody has taken the connection yet."""
        self.opened.enter_context(socket.create_connection(self.address, 60))

    @property
    def holding(self) -> tuple[int, int]:
        """How many connections each holds; they look at their numbers as they do on each turn."""
        assert self.first.readable()
        assert self.second.readable()
        return len(self.first.active_channels), len(self.second.active_channels)


@pytest.fixture
def two() -> Iterator[Two]:
    with socket.create_server(("127.0.0.1", 0)) as listening, ExitStack() as opened:
        listening.setblocking(False)
        yield Two(listening, opened)


@pytest.fixture
def waits(monkeypatch) -> list[float]:
    """What was waited for so far."""
    waited: list[float] = []
    monkeypatch.setattr("dashboard.receiving.time.sleep", waited.append)
    return waited


def test_the_one_that_holds_fewest_takes_a_connection_at_once(two, waits):
    for expected in ((1, 0), (1, 1), (2, 1), (2, 2)):
        two.connect()
        fewer = two.first if two.holding[0] <= two.holding[1] else two.second
        fewer.handle_accept()
        assert two.holding == expected
    assert waits == []


def test_the_one_that_holds_more_leaves_it_to_the_other(two, monkeypatch):
    two.connect()
    two.first.handle_accept()
    two.connect()
    assert two.holding == (1, 0)
    monkeypatch.setattr("dashboard.receiving.time.sleep", lambda _: two.second.handle_accept())
    two.first.handle_accept()
    assert two.holding == (1, 1)


def test_it_is_taken_all_the_same_where_the_other_is_stuck(two, waits):
    two.connect()
    two.first.handle_accept()
    two.connect()
    assert two.holding == (1, 0)
    two.first.handle_accept()
    assert two.holding == (2, 0)
    assert len(waits) == LOOKS


def test_one_that_ends_or_has_ended_is_left_nothing(two, waits):
    two.connect()
    two.first.handle_accept()
    assert two.holding == (1, 0)
    assert two.first.held.another_has_fewer()
    two.all.of(1).leave()
    assert not two.first.held.another_has_fewer()
    two.connect()
    two.first.handle_accept()
    assert len(two.first.active_channels) == 2
    assert waits == []


def test_the_program_forgets_a_process_that_has_ended():
    program = SimpleNamespace(connections=Connections())
    lives, ended = program.connections.of(7), program.connections.of(PLACES + 8)
    lives.count(3)
    ended.count(0)
    assert lives.another_has_fewer()
    Program._forget(program, None, SimpleNamespace(age=PLACES + 8))
    assert not lives.another_has_fewer()
