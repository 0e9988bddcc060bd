"""Sheets and forms as clinics really write them, each read right under a profile."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from analysis.ingest import ProfileError
from analysis.ingest.moments import FAULTS, NONE, DateOrder, DateStyle, DayNumbers, read_moments
from analysis.ingest.profile_file import parse_profile
from analysis.store import Store
from tests.ingest_files import LINES, doubts, programme, refusals, store, take_in, written

__all__ = ["programme", "store"]


def read(text: str, style: DateStyle) -> str:
    """Day and time as text, or the reason code."""
    found = read_moments(pa.array(["2031-01-01", text, None], pa.string()), style)
    if found.fault[1] >= 0:
        return str(FAULTS[found.fault[1]])
    day = str(np.datetime64(int(found.day[1]), "D"))
    time = "" if found.time[1] == NONE else f" {np.timedelta64(int(found.time[1]), 'us').item()}"
    return day + time


DMY = DateStyle(DateOrder.DMY, short_years=True)
SERIAL = DateStyle(day_numbers=DayNumbers.SYSTEM_1900)


@pytest.mark.parametrize(
    ("text", "style", "meaning"),
    [
        ("2026/11/20", DateStyle(), "2026-11-20"),
        ("2026/1/2", DateStyle(), "2026-01-02"),
        ("2026.11.20", DateStyle(), "2026-11-20"),
        ("2026/11/20 14:05", DMY, "2026-11-20 14:05:00"),
        ("2026-11-20 2:05 PM", DateStyle(), "2026-11-20 14:05:00"),
        ("2026-11-20 12:05 am", DateStyle(), "2026-11-20 0:05:00"),
        ("2026-11-20 12:05:09 p.m.", DateStyle(), "2026-11-20 12:05:09"),
        ("2026-11-20 13:05 PM", DateStyle(), "unreadable_date"),
        ("2026-11-20 0:05 AM", DateStyle(), "unreadable_date"),
        ("20/11/26", DMY, "2026-11-20"),
        ("3.4.26 9:05 AM", DMY, "2026-04-03 9:05:00"),
        ("3/4/95", DMY, "1995-04-03"),
        ("31/2/26", DMY, "no_such_day"),
        ("20/11/26", DateStyle(DateOrder.DMY), "two_digit_year"),
        ("46346", SERIAL, "2026-11-20"),
        ("46346.5", SERIAL, "2026-11-20 12:00:00"),
        ("46346,3784722222", SERIAL, "2026-11-20 9:05:00"),
        ("46346.999999999", SERIAL, "2026-11-21 0:00:00"),
        ("44884", DateStyle(day_numbers=DayNumbers.SYSTEM_1904), "2026-11-20"),
        ("46346", DateStyle(), "unreadable_date"),
        ("2026/13/20", DateStyle(), "no_such_day"),
        ("2026/11-20", DateStyle(), "unreadable_date"),
    ],
)
def test_dates_are_read_as_the_style_declares(text: str, style: DateStyle, meaning: str) -> None:
    # Excel's own example of a serial number: 39448 is 1 January 2008 (function DATE, Microsoft's
    # help); from memory, 46346 is 20 November 2026.
    assert read("39448", SERIAL) == "2008-01-01"
    assert read(text, style) == meaning


def profile(text: str):
    return parse_profile(text, "ward.toml", "ward")


def test_several_answers_in_one_cell_are_split_at_the_marks_of_the_form(
    programme: Store, tmp_path: Path
) -> None:
    ward = profile("""
[table.home_log.separators]
findings = [",", " and ", "\\n"]
steps_missed = "/"
""")
    path = written(
        tmp_path,
        "home_log.csv",
        "line_id,done_at,kind,findings,steps_missed\n"
        'L1,2031-03-10,skin_check,"Redness, itch and rash",mask/hand_wash\n'
        'L1,2031-03-11,skin_check,"redness\nitch",none\n'
        "L1,2031-03-12,skin_check,redness;itch,\n",
    )
    take_in(programme, path, profile=ward)
    rows = programme.records().home_log
    assert rows["findings"].tolist() == ["itch;rash;redness", "itch;redness"]
    assert rows["steps_missed"].tolist() == ["hand_wash;mask", "none"]
    assert refusals(programme) == [(4, "findings", "unknown_code")]


def test_date_and_time_of_two_columns_are_one_moment(programme: Store, tmp_path: Path) -> None:
    ward = profile("""
date_order = "mdy"
[table.home_log.heads]
"Date" = "done_at"
[table.home_log.times]
done_at = "Time"
""")
    path = written(
        tmp_path,
        "home_log.csv",
        "line_id,Date,Time,kind\nL1,3/10/2031,9:05 PM,flush\nL1,3/11/2031,,flush\n"
        "L1,,8:00 AM,flush\nL1,3/12/2031,late,flush\n",
    )
    take_in(programme, path, profile=ward)
    log = programme.records().home_log
    assert log["done_at"].dt.strftime("%m-%d %H:%M").fillna("").tolist() == ["03-10 21:05", ""]
    assert log["done_on"].dt.strftime("%m-%d").tolist() == ["03-10", "03-11"]
    assert refusals(programme) == [
        (4, "done_at", "unreadable_date"),
        (5, "done_at", "unreadable_date"),
    ]


@pytest.mark.parametrize(
    ("mark", "text", "kits"),
    [
        (",", '"1.000"', 1000),
        (",", '"7,0"', 7),
        (",", "1\u202f000", 1000),
        (".", '"1,000"', 1000),
        (".", "7.0", 7),
        (".", "1'000.00", 1000),
    ],
)
def test_numbers_with_thousands_marks_and_a_decimal_mark_are_read(
    programme: Store, tmp_path: Path, mark: str, text: str, kits: int
) -> None:
    ward = profile(f'decimal_mark = "{mark}"\n')
    head = "line_id,done_at,kind,kits_left\n"
    path = written(tmp_path, "home_log.csv", f"{head}L1,2031-03-10,supply_count,{text}\n")
    take_in(programme, path, profile=ward)
    assert programme.records().home_log["kits_left"].tolist() == [kits]
    wrong = written(tmp_path, "home_log-2.csv", f'{head}L1,2031-03-11,supply_count,"1{mark}5"\n')
    take_in(programme, wrong, profile=ward)
    assert refusals(programme) == [(2, "kits_left", "not_a_whole_number")]


def test_a_title_and_a_footer_are_no_rows(programme: Store, tmp_path: Path) -> None:
    ward = profile("""
[table.home_log]
skip_rows = 2
footer = ["Total*", "Exported on *"]
""")
    path = written(
        tmp_path,
        "home_log.csv",
        "Diary of ward 3,,\n,,\nline_id,done_at,kind\nL1,2031-03-10,flush\nTOTAL,1,\n"
        "Exported on 1 April,,\n",
    )
    summary = take_in(programme, path, profile=ward)
    assert (summary.read, summary.stored, summary.refused) == (1, 1, 0)
    assert any("2 rows left out" in note for note in summary.notes)


def test_the_sheets_name_is_the_family(programme: Store, tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for family in ("F1", "F2"):
        sheet = book.create_sheet(f"Family {family}")
        sheet.append(["done_at", "kind"])
        sheet.append(["2031-03-10", "flush"])
    book.save(path := tmp_path / "diaries.xlsx")
    ward = profile("""
[table.home_log]
names = ["Family *"]
sheet_name = "family {family_id}"
""")
    assert take_in(programme, path, profile=ward).stored == 2
    assert programme.records().home_log["family_id"].tolist() == ["F1", "F2"]
    log = "done_at,kind\n2031-03-11,flush\n"
    take_in(programme, written(tmp_path, "Family F1.csv", log), profile=ward)
    assert programme.records().home_log["family_id"].tolist() == ["F1", "F2", "F1"]


def test_columns_separated_by_pipes_are_read(store: Store, tmp_path: Path) -> None:
    path = written(tmp_path, "lines.csv", LINES.replace(",", "|"))
    assert take_in(store, path).stored == 5
    assert doubts(store) == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("short_years = 1", "short_years: needs true or false"),
        ('day_numbers = "1905"', 'day_numbers: \'1905\' is not one of "1900", "1904"'),
        ('decimal_mark = ";"', 'is not one of ".", ","'),
        ('[table.home_log.separators]\nkind = ","', "holds no list of codes"),
        ("[table.home_log.separators]\nfindings = []", "needs a text or a list"),
        ('[table.stays.times]\nfrom_on = "Time"', "is no moment"),
        ('[table.home_log]\nsheet_name = "Family"', "needs one column in braces"),
        ('[table.home_log]\nsheet_name = "{mood}"', "is no column of home_log"),
        ("[table.home_log]\nfooter = [3]", "needs a list of texts"),
    ],
)
def test_a_key_that_holds_what_it_cannot_is_named(text: str, words: str) -> None:
    with pytest.raises(ProfileError) as fault:
        profile(text)
    assert words in str(fault.value)


WIDE = """
date_order = "dmy"
[table.home_log]
day_columns = "kind"
[table.home_log.heads]
"Line no" = "line_id"
[table.home_log.values.kind]
"x" = "flush"
"d" = "dressing_change"
"""
WIDE_SHEET = """\
Line no,10/3/2031,11/3/2031,12/3/2031,Remarks
L1,x,,d,calm
L3,x,?,x,
"""


def test_a_sheet_with_one_column_a_day_has_an_entry_in_each_filled_cell(
    programme: Store, tmp_path: Path
) -> None:
    path = written(tmp_path, "home_log-week.csv", WIDE_SHEET)
    summary = take_in(programme, path, profile=profile(WIDE))
    assert (summary.read, summary.stored, summary.refused) == (5, 4, 1)
    log = programme.records().home_log
    found = zip(log["line_id"], log["done_on"].dt.day, log["kind"], strict=True)
    assert sorted(found) == [
        ("L1", 10, "flush"),
        ("L1", 12, "dressing_change"),
        ("L3", 10, "flush"),
        ("L3", 12, "flush"),
    ]
    (row,) = programme.refused().to_dict("records")
    assert (row["sheet"], row["row_number"], row["value"]) == ("11/3/2031", 3, "?")
    again = take_in(programme, path, profile=profile(WIDE))
    assert (again.stored, again.same_as_before, again.refused) == (0, 4, 1)
    assert len(programme.refused()) == 1
    fixed = written(tmp_path, "home_log-week.csv", WIDE_SHEET.replace("?", "d"))
    assert take_in(programme, fixed, profile=profile(WIDE)).stored == 1


def test_the_days_of_a_workbook_may_be_dates_of_its_own(programme: Store, tmp_path: Path) -> None:
    from datetime import date

    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Family F1"
    sheet.append(["Task", date(2031, 3, 10), date(2031, 3, 11)])
    sheet.append(["dressing_change", None, "redness"])
    sheet.append(["skin_check", "none", None])
    book.save(path := tmp_path / "diary.xlsx")
    ward = profile("""
[table.home_log]
names = ["Family *"]
sheet_name = "Family {family_id}"
day_columns = "findings"
[table.home_log.heads]
Task = "kind"
""")
    assert take_in(programme, path, profile=ward).stored == 2
    log = programme.records().home_log
    found = zip(log["family_id"], log["done_on"].dt.day, log["kind"], log["findings"], strict=True)
    assert sorted(found) == [
        ("F1", 10, "skin_check", "none"),
        ("F1", 11, "dressing_change", "redness"),
    ]


def test_day_columns_need_a_table_with_one_date() -> None:
    with pytest.raises(ProfileError, match="lines has no single date"):
        profile('[table.lines]\nday_columns = "site"')
