"""A clinic's own file is described by a few answers, read right, and recognised the next time."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter

from analysis.ingest import Profile, evidence, ingest
from analysis.ingest.moments import DateOrder, DateStyle, DayNumbers
from analysis.ingest.profile import TableProfile, Tick
from analysis.ingest.profile_file import parse_profile
from analysis.ingest.profile_toml import as_toml
from analysis.ingest.proposal import Proposal, propose
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault
from analysis.ingest.recognise import recognised
from analysis.store import Store
from tests.ingest_files import POLICY, RECEIVED_AT, programme, store, take_in, written

__all__ = ["programme", "store"]

READ = [
    ("L1", "2031-03-25 09:05", "dressing_change", "loose", "itch;redness"),
    ("L3", "2031-03-04 18:30", "skin_check", "", "none"),
    ("L1", "2031-03-13 07:15", "flush", "", ""),
]
"""What every file below holds."""


def text(rows: Sequence[Sequence[str]], separator: str = ",") -> str:
    """A text file as Python's csv module writes it."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows(rows)
    return out.getvalue()


def diary_of_a_ward(folder: Path) -> Path:
    rows = [
        ["Diary of ward 3", "", "", "", "", "", "", ""],
        ["", "", "", "", "", "", "", ""],
        ["Line no", "Date", "Time", "What was done", "Dressing was", "Skin", "Remarks", "Mood"],
        ["L1", "25/03/2031", "9:05", "Dressing changed", "came off", "red, itchy", "grün", "ok"],
        ["L3", "4/3/2031", "18:30", "Skin looked at", "", "nothing", "", ""],
        ["L1", "13/3/2031", "7:15", "flushed", "", "", "", ""],
        ["Total: 3", "", "", "", "", "", "", ""],
    ]
    return written(folder, "diary of ward 3.csv", text(rows, ";").encode("cp1252"))


def form_with_ticks(folder: Path) -> Path:
    rows = [
        ["Catheter", "When done", "Type of entry", "Condition of dressing", "Redness", "Itching"],
        ["L1", "3/25/2031 9:05 AM", "Dressing change", "Loose", "Yes", "Yes"],
        ["L3", "3/4/2031 6:30 PM", "Skin check", "", "No", "No"],
        ["L1", "3/13/2031 7:15 AM", "Flush", "", "", ""],
    ]
    return written(folder, "responses.csv", text(rows))


def workbook_with_two_head_rows(folder: Path) -> Path:
    book = xlsxwriter.Workbook(path := folder / "care sheet.xlsx")
    sheet = book.add_worksheet("Sheet1")
    as_moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    sheet.write_row(0, 0, ["Line", "Date", "Activity", "Dressing", "Skin"])
    sheet.write_row(1, 0, ["no", "done", "", "condition", "findings"])
    days = (45741.37847222222, 45720.770833333336, 45729.302083333336)  # 2025
    cells = [
        ("L1", "dressing change", "loose", "Redness/Itch"),
        ("L3", "skin check", "", "None"),
        ("L1", "flush", "", ""),
    ]
    for at, (day, (line, *rest)) in enumerate(zip(days, cells, strict=True)):
        sheet.write_string(at + 2, 0, line)
        sheet.write_number(at + 2, 1, day + 2191, as_moment)
        sheet.write_row(at + 2, 2, rest)
    book.close()
    return path


def sheets_named_after_families(folder: Path) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    rows = {
        "F1": [
            ("2031/3/25 09:05", "dressing changed", "peeling", "redness; itch"),
            ("2031/3/13 7:15", "flush", None, None),
        ],
        "F2": [("2031/3/4 18:30", "skin check", None, "none")],
    }
    for family, entries in rows.items():
        sheet = book.create_sheet(f"Family {family}")
        sheet.append(["When", "Activity", "Dressing was", "Skin"])
        for entry in entries:
            sheet.append(entry)
    book.save(path := folder / "diaries.xlsx")
    return path


def pipes_and_day_numbers(folder: Path) -> Path:
    rows = [
        ["device id", "date of care", "task", "dressing condition", "signs"],
        ["L1", "47932.378472222", "dressing_change", "loose", "redness\nitch"],
        ["L3", "47911.770833333", "skin_check", "", "none"],
        ["L1", "47920.302083333", "flush", "", ""],
    ]
    return written(folder, "export.txt", text(rows, "|"))


def one_column_a_day(folder: Path) -> Path:
    rows = [
        ["Line no", "Shift", "4/3/2031", "13/3/2031", "25/3/2031", "26/3/2031"],
        ["L1", "", "", "flushed", "dressing changed", ""],
        ["L3", "", "skin check", "", "", ""],
    ]
    return written(folder, "march.csv", text(rows))


FILES: list[tuple[Callable[[Path], Path], dict[str, str]]] = [
    (diary_of_a_ward, {}),
    (form_with_ticks, {}),
    (workbook_with_two_head_rows, {"head:Skin findings": "findings"}),
    (sheets_named_after_families, {}),
    (pipes_and_day_numbers, {}),
]
"""How each file is made, and the answers to the questions that it raises."""


def proposed(path: Path, answers: dict[str, str] | None = None) -> Proposal:
    return propose(LogFile.at(path), "ward", POLICY, answers or {})


def entries(store: Store) -> list[tuple[str, ...]]:
    log = store.records().home_log
    lines = store.records().lines.set_index("family_id")["line_id"]
    line = log["line_id"].fillna(log["family_id"].map({"F1": lines["F1"], "F2": "L3"}))
    columns = [
        line,
        log["done_at"].dt.strftime("%Y-%m-%d %H:%M"),
        *(log[name] for name in ("kind", "dressing_condition", "findings")),
    ]
    rows = zip(*(column.astype(object).fillna("") for column in columns), strict=True)
    return sorted(rows)


@pytest.mark.parametrize(("made", "answers"), FILES, ids=[made.__name__ for made, _ in FILES])
def test_a_proposed_profile_reads_a_file_right_and_recognises_the_next_one(
    programme: Store, tmp_path: Path, made: Callable[[Path], Path], answers: dict[str, str]
) -> None:
    path = made(tmp_path)
    first = proposed(path)
    assert sorted(question.key for question in first.questions) == sorted(answers)
    profile = parse_profile(as_toml(proposed(path, answers).profile), "ward", "ward")
    assert recognised(LogFile.at(path), [profile]) == profile
    summary = ingest(
        programme, path, POLICY, received_at=RECEIVED_AT, ingested_at=RECEIVED_AT, sources=[profile]
    )
    assert [str(fault) for fault in summary.faults] == []
    assert summary.refused == 0, programme.refused()[["column", "value", "reason"]]
    assert entries(programme) == sorted(READ)
    assert programme.ingests()["source"].iloc[-1] == "ward"


AMBIGUOUS = """\
Line no,Date,What was done,Feeling,Skin
L1,3/4/2031,bathed,well,red
L1,5/6/2031,flushed,tired,blotchy
"""


def test_what_could_mean_two_things_is_asked_and_never_decided(tmp_path: Path) -> None:
    path = written(tmp_path, "log.csv", AMBIGUOUS)
    first = proposed(path)
    keys = {question.key for question in first.questions}
    assert keys >= {"date_order", "word:kind:bathed", "word:findings:blotchy"}
    words = first.profile.table("home_log").values
    assert "bathed" not in words["kind"]
    assert words["findings"] == {"red": "redness"}
    answers = {"date_order": "dmy", "word:kind:bathed": "-", "word:findings:blotchy": "rash"}
    second = proposed(path, answers)
    assert second.questions == ()
    assert second.profile.dates.order is DateOrder.DMY
    assert second.profile.table("home_log").values["findings"]["blotchy"] == "rash"
    assert second.profile.table("home_log").values["kind"] == {"flushed": "flush"}


def test_a_column_that_is_needed_and_not_there_is_asked_for(tmp_path: Path) -> None:
    path = written(tmp_path, "log.csv", "Line no,Date,Skin\nL1,2031-03-04,red\n")
    (question,) = proposed(path).questions
    assert question.key == "column:kind"
    assert "skin_check" in question.answers
    looks = proposed(path, {"column:kind": "skin_check"}).profile.table("home_log")
    assert looks.fixed == {"kind": "skin_check"}


def test_a_file_whose_heads_changed_is_held(programme: Store, tmp_path: Path) -> None:
    path = diary_of_a_ward(tmp_path)
    profile = proposed(path).profile
    changed = written(tmp_path, "april.csv", path.read_bytes().replace(b"Mood", b"Weight"))
    for named in (None, profile):
        summary = ingest(
            programme,
            changed,
            POLICY,
            named,
            received_at=RECEIVED_AT,
            ingested_at=RECEIVED_AT,
            sources=[profile],
        )
        (fault,) = summary.faults
        assert fault.code is FileFault.HEADS_CHANGED
        assert "missing: Mood; new: Weight" in str(fault)
    assert programme.records().home_log.empty


def test_our_own_form_and_files_unlike_any_source_are_read_as_before(
    programme: Store, tmp_path: Path
) -> None:
    profile = proposed(diary_of_a_ward(tmp_path)).profile
    path = written(tmp_path, "home_log.csv", "line_id,done_at,kind\nL1,2031-03-02,flush\n")
    assert recognised(LogFile.at(path), [profile]) is None
    assert take_in(programme, path).stored == 1


def test_versions_of_a_source_are_stored_and_the_newest_counts(store: Store) -> None:
    first = store.set_source_profile("ward", 'name = "ward"\n', "N1", RECEIVED_AT)
    second = store.set_source_profile("ward", 'date_order = "dmy"\n', "N2", RECEIVED_AT)
    store.set_source_profile("forms", "", "N1", RECEIVED_AT)
    assert (first, second) == (1, 2)
    assert [(s.name, s.version, s.made_by) for s in store.source_profiles()] == [
        ("ward", 1, "N1"),
        ("ward", 2, "N2"),
        ("forms", 1, "N1"),
    ]


def test_a_profile_written_as_toml_is_read_as_the_same_profile() -> None:
    tick = Tick("findings", 'Red "?"', "redness", frozenset({"ja"}), frozenset({"nein"}))
    looks = TableProfile(
        names=("Diary*",),
        header=("Line\nno", "Ä = b", 'Red "?"', "x\x7f"),
        skip_rows=2,
        head_rows=2,
        heads={"Line\nno": "line_id", "Ä = b": "done_at"},
        fixed={"kind": "skin_check"},
        values={"change_reason": {"came off": "loose"}},
        ticks=(tick,),
        separators={"findings": (",", "\n")},
        times={"done_at": "At"},
        sheet_name="Family {family_id}",
        footer=("Total*",),
    )
    style = DateStyle(DateOrder.DMY, short_years=True, day_numbers=DayNumbers.SYSTEM_1904)
    profile = Profile("ward 3", style, ",", "Asia/Tokyo", "cp1252", {"home_log": looks})
    assert parse_profile(as_toml(profile), "ward.toml", "ward") == profile


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        (["2031-03-04"], (DateOrder.ISO, False, "")),
        (["3/4/2031", "3/25/2031"], (DateOrder.MDY, False, "")),
        (["25.3.31"], (DateOrder.DMY, True, "")),
        (["3/4/2031"], (None, False, "")),
        (["25/3/2031", "3/25/2031"], (None, False, "")),
        (["46346", "46346.5"], (DateOrder.ISO, False, "1900")),
        (["12345"], (DateOrder.ISO, False, "")),
        ([], (DateOrder.ISO, False, "")),
    ],
)
def test_the_order_of_dates_is_found_only_where_a_day_above_12_shows_it(cells, found) -> None:
    dates = evidence.date_style(cells)
    assert (dates.order, dates.short_years, str(dates.day_numbers)) == found


def test_a_column_of_findings_under_another_name_is_asked_for_and_not_left_aside(tmp_path):
    rows = [
        ["Line no", "Date", "What was done", "How it looks", "Weather"],
        ["L1", "2031-03-25", "Dressing changed", "red, itchy", "rain"],
        ["L3", "2031-03-04", "Skin looked at", "nothing", "sun"],
    ]
    log = LogFile.at(written(tmp_path, "ward.csv", text(rows)))
    open_ones = propose(log, "ward", POLICY).questions
    assert [(q.key, q.answers) for q in open_ones] == [("head:How it looks", ("findings", "-"))]
    found = propose(log, "ward", POLICY, {"head:How it looks": "findings"})
    assert found.questions == ()
    assert {m.head: m.column for m in found.meanings}["How it looks"] == "findings"
    assert {m.head: m.column for m in found.meanings}["Weather"] is None


def test_a_sheet_with_one_column_a_day_is_described_once_for_all_weeks(
    programme: Store, tmp_path: Path
) -> None:
    path = one_column_a_day(tmp_path)
    first = proposed(path)
    assert [question.key for question in first.questions] == ["days"]
    found = proposed(path, {"days": "kind"})
    assert found.questions == ()
    profile = parse_profile(as_toml(found.profile), "ward", "ward")
    april = written(tmp_path, "april.csv", path.read_bytes().replace(b"4/3/2031", b"5/3/2031"))
    for file in (path, april):
        assert recognised(LogFile.at(file), [profile]) == profile
    take_in(programme, path, profile=profile)
    log = programme.records().home_log
    assert sorted(log["kind"]) == ["dressing_change", "flush", "skin_check"]
    assert sorted(log["done_on"].dt.day) == [4, 13, 25]
