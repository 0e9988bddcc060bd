"""The command that ingests asks for memory to be returned at once; others ask for nothing."""

from __future__ import annotations

import os

from analysis.cli.memory import POOL, return_memory_at_once
from tests.commands import run
from tests.ingest_files import written

__all__ = ["run"]

LINES = (
    "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type\n"
    "L1,C1,F1,north,picc,2026-01-01,2026-01-02,transparent\n"
)


def test_an_ingest_asks_for_it_and_a_list_does_not(run, tmp_path, monkeypatch):
    monkeypatch.delenv(POOL, raising=False)
    store = ["--store", f"sqlite:///{tmp_path}/store.sqlite"]
    file = written(tmp_path, "lines.csv", LINES)
    assert run("ingest", str(file), *store)[0] == 0
    assert os.environ.pop(POOL) == "system"
    assert run("lines", *store)[0] == 0
    assert POOL not in os.environ


def test_what_a_person_has_set_stays(monkeypatch):
    monkeypatch.setenv(POOL, "jemalloc")
    return_memory_at_once()
    assert os.environ[POOL] == "jemalloc"
