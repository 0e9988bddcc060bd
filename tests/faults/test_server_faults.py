"""A PostgreSQL server that many use at once, that is cut off, and that ends in the middle."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks import server_faults as faults
from tests.postgresql import Server, server_programs

if server_programs() is None:
    collect_ignore = [Path(__file__).name]


@pytest.fixture(scope="module")
def server() -> Server:
    return Server()


def test_writers_and_readers_at_once_lose_nothing(server: Server, tmp_path: Path) -> None:
    url = server.new_database()
    found, readings, held = faults.together(url, tmp_path, writers=2, readers=3, files=1)
    assert (found.total(), held) == (0, True)
    assert readings > 0


def test_a_page_says_that_the_server_is_down_and_comes_back(server: Server) -> None:
    status, text, after = faults.page_while_it_is_down(server, server.new_database())
    assert (status, after) == (503, 200)
    assert "can't be reached" in text


@pytest.mark.parametrize("restart", [False, True])
def test_what_is_cut_off_is_whole_and_can_be_done_again(
    server: Server, tmp_path: Path, restart: bool
) -> None:
    seen, held = faults.during_ingest(server, tmp_path, 0.3, restart=restart, rows=500)
    assert held
    assert "FAULT" not in seen
    if not restart:
        return
    seen, held = faults.during_calls(server, 0.2, restart=restart)
    assert held
    assert "FAULT" not in seen
    seen, held = faults.during_migration(server, 0.3, restart=restart)
    assert held
    assert "FAULT" not in seen
