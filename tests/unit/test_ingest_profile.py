"""How a source's own heads and words are declared, and what its sheets become."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.ingest import Profile, ProfileError, load_profile
from analysis.ingest.refused import write_back
from analysis.store import Store
from tests.ingest_files import doubts, programme, refusals, store, take_in, written

__all__ = ["programme", "store"]

WARD = """\
name = "ward sheet"
date_order = "dmy"
encoding = "cp1252"
[table.home_log]
names = ["Diary*"]
skip_rows = 1
head_rows = 2
[table.home_log.heads]
"Line no" = "line_id"
"When done" = "done_at"
"What" = "kind"
"Remarks" = "note"
[table.home_log.values.kind]
"Dressing changed" = "dressing_change"
"Skin looked at" = "skin_check"
[[table.home_log.ticks]]
column = "findings"
head = "Skin red"
code = "redness"
[[table.home_log.ticks]]
column = "findings"
head = "Skin itchy"
code = "itch"
yes = ["ja"]
no = ["nein"]
[table.home_log.fixed]
dressing_type = "gauze"
"""

DIARY = """\
Diary of ward 3;;;;;
Line;When;What;Skin;;Remarks
no;done;;red;itchy;
L1;10/3/2031;Dressing changed;x;nein;grün
L1;11/3/2031 9:05;skin looked at;no;nein;
L1;12/3/2031;Skin looked at;no;;
L1;13/3/2031;Skin looked at;;;
L1;14/3/2031;Skin looked at;maybe;ja;
L1;15/3/2031;Skin felt;yes;ja;
"""


@pytest.fixture
def ward(tmp_path: Path) -> Profile:
    return load_profile(written(tmp_path, "ward.toml", WARD))


def test_a_source_profile_turns_a_clinics_own_sheet_into_our_columns(
    programme: Store, tmp_path: Path, ward: Profile
) -> None:
    path = written(tmp_path, "Diary March.csv", DIARY.encode("cp1252"))
    summary = take_in(programme, path, profile=ward)
    assert (summary.read, summary.stored, summary.refused) == (6, 4, 2)
    rows = programme.records().home_log
    assert rows["kind"].tolist() == ["dressing_change", *["skin_check"] * 3]
    assert rows["findings"].fillna("blank").tolist() == ["redness", "none", "blank", "blank"]
    assert rows["done_on"].dt.strftime("%m-%d").tolist() == ["03-10", "03-11", "03-12", "03-13"]
    assert rows["note"].tolist()[0] == "grün"
    assert set(rows["dressing_type"]) == {"gauze"}
    assert refusals(programme) == [(8, "Skin red", "unreadable_tick"), (9, "kind", "unknown_code")]
    assert doubts(programme) == []


def test_ticks_of_which_some_are_blank_are_kept_with_the_row(
    programme: Store, tmp_path: Path, ward: Profile
) -> None:
    take_in(programme, written(tmp_path, "Diary.csv", DIARY.encode("cp1252")), profile=ward)
    numbers = programme.records().home_log["row"].tolist()
    kept = [row.content.get("Skin red") for row in programme.source_rows("home_log", numbers)]
    assert kept == [None, None, "no", None]


def test_the_profile_finds_its_sheet_by_its_heads_when_no_name_tells(
    programme: Store, tmp_path: Path
) -> None:
    profile = load_profile(written(tmp_path, "ward.toml", WARD.replace('names = ["Diary*"]\n', "")))
    path = written(tmp_path, "march.csv", DIARY.encode("cp1252"))
    assert take_in(programme, path, profile=profile).stored == 4


def test_refused_rows_of_a_profile_are_written_back_so_that_they_need_no_profile(
    programme: Store, tmp_path: Path, ward: Profile
) -> None:

    take_in(programme, written(tmp_path, "Diary.csv", DIARY.encode("cp1252")), profile=ward)
    (path,) = write_back(programme, tmp_path / "mend")
    text = path.read_text("utf-8-sig")
    assert ",2031-03-15,Skin felt," in text
    assert "redness;itch" in text
    mended = text.replace("Skin felt", "skin_check").replace("maybe", "")
    summary = take_in(programme, written(tmp_path / "mend", "home_log.csv", mended))
    assert (summary.stored, summary.refused) == (2, 0)
    assert programme.refused().empty
    assert programme.records().home_log["findings"].tolist()[-2:] == ["itch", "itch;redness"]


def test_a_profile_is_found_by_its_name_in_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written(tmp_path, "ward.toml", 'date_order = "mdy"\n')
    monkeypatch.chdir(tmp_path)
    assert (load_profile("ward").name, load_profile("ward").dates.order) == ("ward", "mdy")


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('date_ordr = "dmy"', "date_ordr"),
        ('date_order = "ymd"', "date_order"),
        ("date_order = 3", "date_order"),
        ('time_zone = "Mars/Base"', "time_zone"),
        ('encoding = "ebcdic"', "encoding"),
        ('encoding = "utf-16"', "encoding"),
        ("table = 3", "table"),
        ("[table.logs]", "table.logs"),
        ("[table.lines]\nskip = 1", "table.lines.skip"),
        ("[table.lines]\nskip_rows = -1", "table.lines.skip_rows"),
        ("[table.lines]\nhead_rows = 0", "table.lines.head_rows"),
        ("[table.lines]\nnames = 'x'", "table.lines.names"),
        ('[table.lines.heads]\n"No" = "number"', 'table.lines.heads."No"'),
        ('[table.lines.heads]\n"No" = 3', 'table.lines.heads."No"'),
        ('[table.lines.fixed]\nline_type = "pick"', "table.lines.fixed.line_type"),
        ('[table.lines.values.line_type]\n"P" = "pick"', 'table.lines.values.line_type."P"'),
        ('[table.lines.values.placed_on]\n"P" = "x"', "table.lines.values.placed_on"),
        ('[[table.lines.ticks]]\ncolumn = "site"', "table.lines.ticks.column"),
        ('[[table.home_log.ticks]]\ncolumn = "findings"', "table.home_log.ticks.code"),
        (
            '[[table.home_log.ticks]]\ncolumn = "findings"\nhead = "a"\ncode = "b"\nno = ["X"]',
            "table.home_log.ticks.no",
        ),
        ("name = ", "TOML"),
    ],
)
def test_a_fault_in_a_profile_is_told_with_its_file_and_key(
    tmp_path: Path, text: str, key: str
) -> None:
    with pytest.raises(ProfileError) as fault:
        load_profile(written(tmp_path, "ward.toml", text))
    assert str(fault.value).startswith("ward.toml")
    assert key in str(fault.value)


def test_a_profile_that_is_not_there_says_where_it_was_looked_for() -> None:
    with pytest.raises(ProfileError, match=r"nowhere\.toml: there is no such source profile"):
        load_profile("nowhere")
