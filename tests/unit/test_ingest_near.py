"""A code that only looks like a known one is answered with that one; an ingest says what is next."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.ingest import IngestError, IngestSummary, TableCount
from analysis.ingest.near import NearCodes, codes_of
from analysis.ingest.next_steps import next_steps
from analysis.ingest.preview import preview
from analysis.ingest.reasons import FileFault
from analysis.ingest.refused import listed
from analysis.store import Store
from tests.ingest_files import POLICY, RECEIVED_AT, programme, store, take_in, written

__all__ = ["programme", "store"]


@pytest.mark.parametrize(
    ("written_as", "meant"),
    [
        ("l-0206-1", "L-0206-1"),
        ("L-0206-1\u200b", "L-0206-1"),
        ("Ｌ－０２０６－１", "L-0206-1"),
        ("L 0206–1", "L-0206-1"),
        ("L02061", "L-0206-1"),
        ("L-0206-2", None),
        ("M7", None),
        (None, None),
    ],
)
def test_a_code_that_looks_like_one_known_code_is_suggested(written_as, meant) -> None:
    near = NearCodes({"line_id": ["L-0206-1", "L-0207-1", "m-7", "M-7"]})
    found = near.suggestion(written_as, "unknown_line")
    assert found == (f" Did you mean {meant}?" if meant else "")
    assert near.suggestion("L-0206-1", "unknown_code") == ""


def test_the_list_of_refused_rows_and_a_preview_suggest_the_code(
    programme: Store, tmp_path: Path
) -> None:
    path = written(tmp_path, "home_log.csv", "line_id,done_at,kind\nl1\u200b,2031-03-02,flush\n")
    (sheet,) = preview(
        programme, [path], POLICY, None, None, RECEIVED_AT, ingested_at=RECEIVED_AT
    ).sheets
    assert sheet.refused[0].sentence.endswith("Did you mean L1?")
    take_in(programme, path)
    (fix,) = listed(programme.refused(), codes_of(programme.registry()))["fix"]
    assert fix.endswith("or correct the code. Did you mean L1?")


def counted(**counts: int) -> IngestSummary:
    rows = {"read": 3, "stored": 3, "same_as_before": 0, "refused": 0, "doubts": 0, **counts}
    return IngestSummary((TableCount("a.csv", "home_log", **rows),), (), ())


@pytest.mark.parametrize(
    ("summary", "known", "steps"),
    [
        (counted(), (True, True, True), ["linedays calls"]),
        (counted(stored=2, refused=1), (True, True, True), ["1 row was refused", "linedays calls"]),
        (counted(stored=0, same_as_before=3), (True, True, True), []),
        (counted(), (False, True, True), ["ingest the registry of lines"]),
        (counted(), (True, False, False), ["ingest the families' logs", "--set FILE"]),
        (
            IngestSummary((), (IngestError(FileFault.TABLE_UNKNOWN, "a.csv"),), ()),
            (False, False, False),
            ["linedays source FILE"],
        ),
        (
            IngestSummary((), (IngestError(FileFault.NOT_FOUND, "a.csv"),), ()),
            (False, False, False),
            [],
        ),
    ],
)
def test_what_is_next_follows_from_what_the_store_lacks(summary, known, steps) -> None:
    has_lines, has_entries, zone_is_set = known
    found = next_steps(
        summary, has_lines=has_lines, has_entries=has_entries, zone_is_set=zone_is_set
    )
    assert len(found) == len(steps)
    assert all(part in step for part, step in zip(steps, found, strict=True))
