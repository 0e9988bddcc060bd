"""Partitions: what is written, which commands read it, and what is refused."""

from __future__ import annotations

import json
import os
import signal
from dataclasses import replace
from datetime import date

import pyarrow.parquet as pq
import pytest

from analysis.partitions import (
    PartitionsError,
    in_processes,
    in_turn,
    on_cluster,
    opened,
    tallies_of_parts,
)
from analysis.partitions.families import place
from analysis.tables import KNOWN, Records
from tests.commands import run
from tests.empty_store import folder_made_once

__all__ = ["run"]

LINES = """line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,dressing_on
L1,C1,F1,north,tunneled_cvc,2031-02-27,2031-03-01,transparent,2031-02-28
L2,C2,F2,south,picc,2031-02-27,2031-03-01,gauze,2031-03-01
L3,C3,F3,south,picc,2031-02-27,2031-03-02,gauze,2031-03-01
"""
LOG = """entry_id,line_id,done_at,kind,findings,note
e1,L1,2031-03-05,dressing_change,none,
e2,L1,2031-03-09,skin_check,fever,call our neighbour at noon
e3,L2,2031-03-09,dressing_change,redness,
e4,L3,2031-03-03,dressing_change,none,
"""
AS_OF = ("--as-of", "2031-03-12")


@pytest.fixture
def folder(run, tmp_path, tmp_path_factory):
    """Partitions of a store with three families, which is in the same folder."""

    def fill():
        (tmp_path / "lines.csv").write_text(LINES)
        (tmp_path / "home_log.csv").write_text(LOG)
        files = ("lines.csv", "home_log.csv", "--received-at", "2031-03-10T05:00")
        assert run("ingest", *files)[0] == 0
        asked = ("--write", "parts", "--parts", "3", "--known-at", "2031-03-12")
        code, _, said = run("export", "partitions", *asked)
        assert code == 0
        assert "3 parts are in parts, as known at the end of 2031-03-12." in said

    folder_made_once(tmp_path, tmp_path_factory.getbasetemp() / "partitions", fill)
    return tmp_path / "parts"


@pytest.mark.parametrize(
    "command",
    [
        ("lines", "--task", "dressing"),
        ("adherence", "--by", "site"),
        ("rates", "--event", "skin", "--by", "month"),
        ("dwell", "--by", "site"),
    ],
)
def test_a_command_shows_the_same_of_partitions_as_of_the_store(run, folder, command):
    of_store, of_parts = (
        run(*command, *AS_OF, *further) for further in ((), ("--partitions", "parts"))
    )
    assert of_store == of_parts
    assert of_parts[0] == 0
    assert "3 days old" in of_parts[2]


def test_processes_give_what_one_gives_in_turn(folder):
    found, day = opened(folder), date(2031, 3, 12)
    first, second = (tallies_of_parts(found, day, way).value for way in (in_turn, in_processes(2)))
    assert first.days.equals(second.days)
    assert len(first.lines) == 3


def test_a_process_that_is_killed_is_reported(folder):
    with pytest.raises(PartitionsError, match="was ended, perhaps for want of memory"):
        list(in_processes(1)(signal.raise_signal, [signal.SIGKILL]))


def test_private_columns_are_not_written(folder):
    log = pq.ParquetFile(folder / "part-00000" / "home_log.parquet").schema_arrow.names
    lines = pq.ParquetFile(folder / "part-00000" / "lines.parquet").schema_arrow.names
    assert {"line_id", "done_on", "kind", "findings"} <= set(log)
    assert {"note", "contact", "language"}.isdisjoint([*log, *lines])


def test_a_part_with_other_rows_than_were_written_is_refused(run, folder):
    path = folder / "part-00001" / "home_log.parquet"
    whole = pq.ParquetFile(path).read()
    assert whole.num_rows == 1
    pq.write_table(whole.slice(1), path)
    code, out, said = run("lines", *AS_OF, "--partitions", "parts")
    assert (code, out) == (3, "")
    assert "part-00001 can't be read or has other rows than were written" in said


def test_a_family_that_was_split_is_refused(folder):
    found = opened(folder)
    twice = replace(found, parts=(*found.parts, found.parts[0]))
    with pytest.raises(PartitionsError, match="Line L1 is in two parts: its family was split"):
        tallies_of_parts(twice, date(2031, 3, 12), in_turn)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--partitions", "."), 3, "is not a folder of partitions"),
        (("--partitions", "parts", "--known-at", "2031-03-11"), 2, "Leave out --known-at"),
        (("--processes", "2"), 2, "name a folder in --partitions"),
        (("--partitions", "parts", "--policy", "other.toml"), 2, "another time zone (Asia/Tokyo)"),
    ],
)
def test_options_that_do_not_go_together_are_explained(run, folder, words, code, said):
    (folder.parent / "other.toml").write_text('name = "o"\ntime_zone = "Asia/Tokyo"\n')
    found = run("lines", *AS_OF, *words)
    assert found[:2] == (code, "")
    assert said in found[2]


def test_nothing_is_written_over(run, folder):
    before = json.loads((folder / "partitions.json").read_text())
    code, _, said = run("export", "partitions", "--write", "parts")
    assert (code, "is there already" in said) == (3, True)
    assert json.loads((folder / "partitions.json").read_text()) == before


def test_no_scheduler_at_the_address_is_one_sentence(folder):
    with pytest.raises(PartitionsError, match="No Dask scheduler answers at nowhere"):
        list(on_cluster("nowhere")(os.path.basename, [folder]))


def test_families_linked_by_a_child_or_a_move_are_in_one_part():
    def line(line_id, child_id, family_id, row):
        return {
            "row": row, "received_at": "2031-03-01", "line_id": line_id, "child_id": child_id,
            "family_id": family_id, "site": "north", "line_type": "picc",
            "placed_on": "2031-02-27", "home_from": "2031-03-01", "dressing_type": "gauze",
        }  # fmt: skip

    def frame(name, rows):
        return KNOWN[name].build({key: [row[key] for row in rows] for key in rows[0]})

    now = [("L1", "C1", "A", 1), ("L2", "C1", "Z", 2), ("L3", "C3", "M", 4), ("L4", "C4", "B", 5)]
    frames = {
        "lines": frame("lines", [line(*one) for one in now]),
        "earlier_lines": frame("earlier_lines", [line("L3", "C3", "Z", 3)]),
    }
    placed = place(Records.of(frames), 4)
    part = dict(zip("ABMZ", placed.family.part.tolist(), strict=True))
    assert part["A"] == part["Z"] == part["M"] != part["B"]
    assert placed.line.part.tolist() == [part[family] for family in "AZMB"]
