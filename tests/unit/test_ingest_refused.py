"""Refused rows come back as a file, and leave the list when they are mended."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis.ingest.reasons import Doubt, FileFault, Refusal
from analysis.ingest.refused import listed, write_back
from analysis.ingest.sentences import doubt_sentence, file_sentence, fix, row_sentence, why
from analysis.store import Store
from analysis.tables import INCOMING
from tests.ingest_files import programme, refusals, store, take_in, written

__all__ = ["programme", "store"]

LOG = """\
entry_id,line_id,done_at,kind,kits_left,note,Mood
E1,L1,03/04/2031,note,,"went ""out"", late",good
E2,L9,2031-03-11,note,,,
,L1,2031-03-12,supply_count,many,,
E4,L1,2031-03-13,note,,,
"""
LATER = datetime(2031, 4, 1, tzinfo=UTC)


def test_refused_rows_are_written_whole_with_number_reason_and_sentence(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG))
    paths = write_back(programme, tmp_path / "mend")
    assert [path.name for path in paths] == ["home_log.csv"]
    rows = list(csv.DictReader(io.StringIO(paths[0].read_text("utf-8-sig"))))
    assert [row["refused_row"] for row in rows] == ["1", "2", "3"]
    assert rows[0]["note"] == 'went "out", late'
    assert rows[0]["Mood"] == "good"
    assert rows[0]["refused_reason"] == "ambiguous_date"
    assert rows[0]["refused_why"] == (
        'home_log.csv row 2, done_at "03/04/2031": it is not clear which is the day '
        "and which the month. "
        "Set date_order in the source profile."
    )


def test_mended_rows_go_in_and_the_list_is_empty(programme: Store, tmp_path: Path) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG))
    (path,) = write_back(programme, tmp_path / "mend")
    text = path.read_text("utf-8-sig").replace("03/04/2031", "2031-03-04", 1)
    text = text.replace("L9", "L1", 1).replace("many", "2", 1)
    summary = take_in(programme, written(tmp_path, "home_log.csv", text), received_at=LATER)
    assert (summary.read, summary.stored, summary.notes[:1]) == (
        3,
        3,
        ("home_log.csv: Mood: not a column of home_log; stored with the rows.",),
    )
    assert programme.refused().empty
    assert write_back(programme, tmp_path / "mend") == []
    assert len(programme.records().home_log) == 4


def test_a_file_written_back_and_not_mended_changes_nothing(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG))
    before = refusals(programme)
    (path,) = write_back(programme, tmp_path / "mend")
    assert take_in(programme, path, received_at=LATER).refused == 3
    assert refusals(programme) == before


def test_a_row_mended_wrongly_takes_the_place_of_the_one_it_mends(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG))
    (path,) = write_back(programme, tmp_path / "mend")
    text = path.read_text("utf-8-sig").replace("many", "1000000", 1)
    take_in(programme, written(tmp_path / "mend", "home_log.csv", text), received_at=LATER)
    assert [reason for *_, reason in refusals(programme)] == [
        "ambiguous_date",
        "unknown_line",
        "out_of_range",
    ]


def test_void_with_the_number_withdraws_the_refused_row_and_nothing_stored(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG))
    # E4 is stored; a row that withdraws refused row 1 names its number by mistake.
    text = "entry_id,done_at,kind,line_id,void,refused_row\nE4,03/04/2031,,,yes,1\n,,,,yes,3\n"
    summary = take_in(programme, written(tmp_path, "home_log.csv", text), received_at=LATER)
    assert (summary.read, summary.refused) == (2, 0)
    assert refusals(programme) == [(3, "line_id", "unknown_line")]
    assert programme.records().home_log["entry_id"].tolist() == ["E4"]


def test_a_number_of_a_refused_row_that_is_no_number_is_refused(
    programme: Store, tmp_path: Path
) -> None:
    text = "line_id,done_at,kind,refused_row\nL1,2031-03-10,note,first\n"
    take_in(programme, written(tmp_path, "home_log.csv", text))
    assert refusals(programme) == [(2, "refused_row", "not_a_whole_number")]


def test_a_file_that_somebody_is_mending_is_not_written_over(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG))
    (first,) = write_back(programme, tmp_path / "mend")
    first.write_text("half mended")
    (second,) = write_back(programme, tmp_path / "mend")
    assert (first.read_text(), second.name) == ("half mended", "home_log-2.csv")


def test_no_cell_written_back_is_a_formula_and_the_cells_come_back_as_they_were(
    programme: Store, tmp_path: Path
) -> None:
    text = (
        "line_id,done_at,kind,kits_left,note,Mood\n"
        "L1,soon,note,,=HYPERLINK(1),@a\nL1,2031-03-10,note,-1,-2 kits,+x\n"
    )
    take_in(programme, written(tmp_path, "home_log.csv", text))
    (path,) = write_back(programme, tmp_path / "mend")
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"))))
    assert [row["note"] for row in rows] == ["'=HYPERLINK(1)", "'-2 kits"]
    assert rows[1]["kits_left"] == "-1"
    before = refusals(programme)
    assert take_in(programme, path, received_at=LATER).refused == 2
    assert refusals(programme) == before
    mended = path.read_text("utf-8-sig").replace(",soon,", ",2031-03-11,").replace(",-1,", ",1,")
    take_in(programme, written(tmp_path, "home_log-3.csv", mended), received_at=LATER)
    known = programme.records().home_log
    assert known["note"].tolist() == ["=HYPERLINK(1)", "-2 kits"]
    contents = [r.content for r in programme.source_rows("home_log", known["row"].tolist())]
    assert [content["Mood"] for content in contents] == ["@a", "+x"]


def test_a_later_row_of_the_same_key_takes_a_refused_one_off_the_list(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG))
    text = "entry_id,line_id,done_at,kind\nE2,L1,2031-03-11,note\n"
    take_in(programme, written(tmp_path, "home_log-2.csv", text), received_at=LATER)
    assert refusals(programme) == [
        (2, "done_at", "ambiguous_date"),
        (4, "kits_left", "not_a_whole_number"),
    ]


def test_the_same_refused_row_in_two_files_is_listed_once(programme: Store, tmp_path: Path) -> None:
    take_in(programme, written(tmp_path, "home_log-1.csv", LOG))
    shifted = LOG.replace("E1,", "\nE1,", 1)  # one row further down
    assert take_in(programme, written(tmp_path, "home_log-2.csv", shifted)).refused == 3
    assert len(programme.refused()) == 3


@pytest.mark.parametrize("reason", list(Refusal))
@pytest.mark.parametrize("table", list(INCOMING))
def test_every_reason_has_words_for_every_table_and_column(table: str, reason: str) -> None:
    for column in (None, "received_at", "void", "refused_row", *INCOMING[table].names):
        said = row_sentence(table, "book.xlsx", "March", 7, column, "x", reason)
        assert said.startswith('book.xlsx sheet "March" row 7')
        assert said.endswith(".")
        assert "{" not in said + why(table, column, "x", reason) + fix(table, column, "x", reason)


@pytest.mark.parametrize("code", list(Doubt))
def test_every_doubt_has_words(code: str) -> None:
    assert doubt_sentence(code)


@pytest.mark.parametrize("code", list(FileFault))
def test_every_fault_of_a_file_has_words(code: FileFault) -> None:
    facts = dict.fromkeys(
        (
            "why",
            "size",
            "ratio",
            "sheet",
            "rows",
            "columns",
            "row",
            "encoding",
            "what",
            "tables",
            "table",
            "other",
            "expression",
            "types",
            "first",
            "second",
            "column",
            "kind",
            "now",
            "source",
            "gone",
            "added",
        ),
        "x",
    )
    said = file_sentence(code, "lines.csv", missing=["site", "nurse"], **facts)
    assert said.startswith("lines.csv: ")
    assert said.endswith(".")
    assert "{" not in said


def test_notes_and_contacts_are_not_repeated_in_sentences() -> None:
    for table, column in (("home_log", "note"), ("lines", "contact")):
        said = row_sentence(table, "a.csv", None, 2, column, "555 0100", "cell_too_long")
        assert "555" not in said


def test_a_long_value_is_cut_and_put_on_one_line() -> None:
    said = row_sentence("lines", "a.csv", None, 2, "line_id", "x\n" * 90, "control_character")
    assert "\n" not in said
    assert len(said) < 200


def test_all_faults_of_a_row_are_listed_at_once(programme: Store, tmp_path: Path) -> None:
    log = written(
        tmp_path,
        "home_log.csv",
        "line_id,done_at,kind,findings,kits_left\nL9,31.2.2031,bath,fevr,many\nL1,2031-03-30,flush,none,,x\n",
    )
    take_in(programme, log)
    rows = listed(programme.refused())
    assert rows["reason"].tolist() == ["date_order", "ragged_row"]
    sentence = rows["fix"].iloc[0]
    for part in (
        'Also kind "bath"',
        'Also findings "fevr"',
        'Also kits_left "many"',
        "Also line_id",
    ):
        assert part in sentence
    assert "Also" not in rows["fix"].iloc[1]
    path = write_back(programme, tmp_path / "out")[0]
    assert "it is not a whole number. Use digits only." in path.read_text("utf-8")
