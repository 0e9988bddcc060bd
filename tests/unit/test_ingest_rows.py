"""Rows that go in, rows that go in with a doubt, and rows that are refused."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

from analysis.ingest import Profile
from analysis.store import Store
from tests.ingest_files import (
    LINES,
    doubts,
    programme,
    refusals,
    store,
    take_in,
    written,
)

__all__ = ["programme", "store"]

LOG = "entry_id,line_id,family_id,caregiver_id,done_at,kind,findings,steps_missed,kits_left,void"


def log(*rows: str) -> str:
    return "\n".join([LOG, *rows, ""])


@pytest.mark.parametrize(
    ("row", "column", "reason"),
    [
        (",L1,,,,skin_check,,,,", "done_at", "missing_value"),
        (",L1,,,2031-03-10,,,,,", "kind", "missing_value"),
        (",,,,2031-03-10,note,,,,", "line_id", "missing_value"),
        (",L1,,,2031-03-10,bath,,,,", "kind", "unknown_code"),
        (",L1,,,2031-03-10,skin_check,rednes,,,", "findings", "unknown_code"),
        (",L1,,,2031-03-10,skin_check,none;itch,,,", "findings", "none_with_codes"),
        (",L1,,,2031-03-10,skin_check,,gloves,,", "steps_missed", "unknown_code"),
        (",L1,,,2031-03-10,supply_count,,,many,", "kits_left", "not_a_whole_number"),
        (",L1,,,2031-03-10,supply_count,,,2.5,", "kits_left", "not_a_whole_number"),
        (",L1,,,2031-03-10,supply_count,,,-1,", "kits_left", "out_of_range"),
        (",L1,,,2031-03-10,note,,,,perhaps", "void", "unknown_code"),
        (",L1,,,03/04/2031,note,,,,", "done_at", "ambiguous_date"),
        (",L1,,,25/03/2031,note,,,,", "done_at", "date_order"),
        (",L1,,,03/04/31,note,,,,", "done_at", "two_digit_year"),
        (",L1,,,soon,note,,,,", "done_at", "unreadable_date"),
        (",L1,,,2031-02-29,note,,,,", "done_at", "no_such_day"),
        (",L1,,,1900-01-01,note,,,,", "done_at", "implausible_date"),
        (",L1,,,2131-01-01,note,,,,", "done_at", "implausible_date"),
        (",L1,,,2031-04-02,note,,,,", "done_at", "in_the_future"),
        (",L1,,,2031-01-09,note,,,,", "done_at", "before_placed"),
        (",L9,,,2031-03-10,note,,,,", "line_id", "unknown_line"),
        (",,F9,,2031-03-10,note,,,,", "family_id", "unknown_family"),
        (",,F1,,2031-01-09,note,,,,", "family_id", "no_line_that_day"),
        (",,F4,,2031-03-10,note,,,,", "family_id", "several_lines_that_day"),
        (",L1,F2,,2031-03-10,note,,,,", "family_id", "line_of_other_family"),
        (",L1,,,2031-03-10,note,,", None, "ragged_row"),
        (",L1,,,2031-03-10,note,,,,,x", None, "ragged_row"),
        (",L1,,,2031-03-10,note,,,\x07,", "kits_left", "control_character"),
        ("E" + "9" * 40_000 + ",L1,,,2031-03-10,note,,,,", "entry_id", "cell_too_long"),
    ],
)
def test_a_log_row_that_cannot_be_used_is_refused_and_the_others_go_in(
    programme: Store, tmp_path: Path, row: str, column: str | None, reason: str
) -> None:
    text = log(",L1,,,2031-03-10,note,,,,", row, ",L3,,,2031-03-11,note,,,,")
    summary = take_in(programme, written(tmp_path, "home_log.csv", text))
    assert (summary.stored, summary.refused) == (2, 1)
    assert refusals(programme) == [(3, column, reason)]


def test_a_day_after_receipt_is_still_taken_for_a_clock_that_is_ahead(
    programme: Store, tmp_path: Path
) -> None:
    text = log(",L1,,,2031-04-01,note,,,,")
    assert take_in(programme, written(tmp_path, "home_log.csv", text)).stored == 1


def test_words_are_read_without_case_and_outer_spaces_and_lists_in_one_order(
    programme: Store, tmp_path: Path
) -> None:
    text = log(", L1 ,,,2031-03-10, Skin_Check ,  Redness ; ITCH;redness,None,7.0,no")
    take_in(programme, written(tmp_path, "home_log.csv", text))
    row = programme.records().home_log.iloc[0]
    assert (row["kind"], row["findings"], row["steps_missed"]) == (
        "skin_check",
        "itch;redness",
        "none",
    )
    assert (row["line_id"], row["kits_left"]) == ("L1", 7)


def test_none_and_not_recorded_stay_apart(programme: Store, tmp_path: Path) -> None:
    text = log(",L1,,,2031-03-10,skin_check,none,,,", ",L1,,,2031-03-11,skin_check,,,,")
    take_in(programme, written(tmp_path, "home_log.csv", text))
    findings = programme.records().home_log["findings"]
    assert findings.fillna("blank").tolist() == ["none", "blank"]


def test_codes_that_look_like_numbers_or_missing_values_stay_as_they_are(
    store: Store, tmp_path: Path
) -> None:
    text = LINES.replace("L1,C1,F1", "007,NA,null")
    take_in(store, written(tmp_path, "lines.csv", text))
    first = store.records().lines.iloc[0]
    assert first[["line_id", "child_id", "family_id"]].tolist() == ["007", "NA", "null"]


def test_the_family_stands_for_its_only_line_in_place_that_day(
    programme: Store, tmp_path: Path
) -> None:
    # F2 changed from L2 to L3 on 10 February: that day L3 is the line in place.
    text = log(
        ",,F2,,2031-02-09,note,,,,", ",,F2,,2031-02-10,note,,,,", ",L3,,,2031-02-20,note,,,,"
    )
    take_in(programme, written(tmp_path, "home_log.csv", text))
    rows = programme.records().home_log
    assert rows["line_id"].tolist() == ["L2", "L3", "L3"]
    assert rows["family_id"].tolist() == ["F2", "F2", "F2"]


@pytest.mark.parametrize(
    ("row", "doubt"),
    [
        (",L1,,,2031-03-01,dressing_change,,,,", "change_during_stay"),
        (",L1,,,2031-03-04,connector_change,,,,", "change_during_stay"),
        (",L2,,,2031-02-10,skin_check,,,,", "after_end"),
        (",L1,,P2,2031-03-10,dressing_change,,,,", "caregiver_of_other_family"),
        (",L1,,P9,2031-03-10,dressing_change,,,,", "unknown_caregiver"),
    ],
)
def test_an_odd_log_row_goes_in_with_a_doubt(
    programme: Store, tmp_path: Path, row: str, doubt: str
) -> None:
    summary = take_in(programme, written(tmp_path, "home_log.csv", log(row)))
    assert (summary.stored, summary.doubts) == (1, 1)
    assert doubts(programme) == [(2, doubt)]


@pytest.mark.parametrize(
    "row",
    [
        ",L1,,,2031-03-05,dressing_change,,,,",  # home again that day
        ",L1,,,2031-03-02,skin_check,,,,",  # no change
        ",L2,,,2031-02-09,skin_check,,,,",
        ",L1,,P1,2031-03-10,dressing_change,,,,",
        ",L1,,,2031-03-10,dressing_change,,,,",  # nobody named
    ],
)
def test_an_ordinary_log_row_has_no_doubt(programme: Store, tmp_path: Path, row: str) -> None:
    assert take_in(programme, written(tmp_path, "home_log.csv", log(row))).doubts == 0


def test_connectors_changed_sooner_than_96_hours_are_doubted_whatever_file_the_first_came_in(
    programme: Store, tmp_path: Path
) -> None:
    # Policy: connector_min_days 4. Gaps of L1: 3 days (too soon), then 4; L3's change is its first.
    one = log(",L1,,,2031-02-01,connector_change,,,,")
    two = log(
        ",L3,,,2031-02-15,connector_change,,,,",
        ",L1,,,2031-02-04,connector_change,,,,",
        ",L1,,,2031-02-08,connector_change,,,,",
        ",L1,,,2031-02-10,connector_change,,,,",
    )
    assert take_in(programme, written(tmp_path, "home_log-1.csv", one)).doubts == 0
    assert take_in(programme, written(tmp_path, "home_log-2.csv", two)).doubts == 2
    assert doubts(programme) == [(3, "connector_too_soon"), (5, "connector_too_soon")]


def test_a_correction_that_moves_an_entry_to_another_family_is_doubted(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log-1.csv", log("E1,L1,,,2031-03-10,note,,,,")))
    moved = written(tmp_path, "home_log-2.csv", log("E1,L3,,,2031-03-10,note,,,,"))
    take_in(programme, moved, received_at=datetime(2031, 4, 1, tzinfo=UTC))
    assert doubts(programme) == [(2, "moves_family")]
    assert programme.records().home_log["line_id"].tolist() == ["L3"]


def test_an_older_version_sent_again_goes_in_with_a_doubt(programme: Store, tmp_path: Path) -> None:
    first = log("E1,L1,,,2031-03-10,note,,,1,")
    second = log("E1,L1,,,2031-03-10,note,,,2,")
    for day, text in ((1, first), (2, second), (3, first + "E2,L1,,,2031-03-11,note,,,,\n")):
        path = written(tmp_path, f"home_log-{day}.csv", text)
        take_in(programme, path, received_at=datetime(2031, 4, day, tzinfo=UTC))
    assert doubts(programme) == [(2, "older_version")]
    assert programme.records().home_log["kits_left"].tolist()[0] == 1


def test_a_later_row_with_the_same_entry_id_corrects_the_earlier_one_of_the_file(
    programme: Store, tmp_path: Path
) -> None:
    text = log("E1,L1,,,2031-03-10,note,,,1,", "E1,L1,,,2031-03-10,note,,,2,")
    summary = take_in(programme, written(tmp_path, "home_log.csv", text))
    assert summary.stored == 2
    assert programme.records().home_log["kits_left"].tolist() == [2]


def test_two_equal_rows_without_an_entry_id_are_one_and_counted(
    programme: Store, tmp_path: Path
) -> None:
    text = log(",L1,,,2031-03-10,note,,,,", ",L1,,,2031-03-10,note,,,,")
    summary = take_in(programme, written(tmp_path, "home_log.csv", text))
    assert (summary.stored, summary.same_as_before) == (1, 1)


def test_a_row_says_the_same_whether_or_not_it_names_the_family_of_its_line(
    programme: Store, tmp_path: Path
) -> None:
    text = log(",L1,,,2031-03-10,note,,,,", ",L1,F1,,2031-03-10,note,,,,")
    summary = take_in(programme, written(tmp_path, "home_log.csv", text))
    assert (summary.stored, summary.same_as_before) == (1, 1)


def test_void_withdraws_an_entry_and_needs_nothing_but_its_number(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", log("E1,L1,,,2031-03-10,note,,,,")))
    gone = written(tmp_path, "home_log-2.csv", "entry_id,void\nE1,yes\n")
    summary = take_in(programme, gone, received_at=datetime(2031, 4, 1, tzinfo=UTC))
    assert (summary.stored, summary.refused) == (1, 0)
    assert programme.records().home_log.empty
    assert len(programme.records(datetime(2031, 3, 31, 13, tzinfo=UTC)).home_log) == 1


def test_void_withdraws_an_entry_without_a_number_when_the_rest_is_repeated(
    programme: Store, tmp_path: Path
) -> None:
    row = ",L1,,,2031-03-10,note,,,2,"
    take_in(programme, written(tmp_path, "home_log.csv", log(row)))
    gone = written(tmp_path, "home_log-2.csv", log(f"{row}yes"))
    take_in(programme, gone, received_at=datetime(2031, 4, 1, tzinfo=UTC))
    assert programme.records().home_log.empty


def test_timestamps_become_the_programmes_day_and_a_moment_in_utc(
    programme: Store, tmp_path: Path
) -> None:
    # The programme's zone is UTC; the source's clock is nine hours ahead of it.
    rows = [
        ",L1,,,2031-03-10T05:00,note,,,1,",  # 20:00 on the 9th
        ",L1,,,2031-03-10T05:00Z,note,,,2,",
        ",L1,,,2031-03-10 23:30:00-05:00,note,,,3,",  # 04:30 on the 11th
        ",L1,,,2031-03-10,note,,,4,",
    ]
    profile = Profile(name="clock", time_zone="Asia/Tokyo")
    take_in(programme, written(tmp_path, "home_log.csv", log(*rows)), profile=profile)
    frame = programme.records().home_log
    assert frame["done_on"].dt.day.tolist() == [9, 10, 11, 10]
    moments = frame["done_at"].dt.strftime("%d %H:%M").where(frame["done_at"].notna(), None)
    assert moments.tolist() == ["09 20:00", "10 05:00", "11 04:30", None]


def test_a_time_that_the_clocks_skipped_is_refused_and_one_shown_twice_is_doubted(
    programme: Store, tmp_path: Path
) -> None:
    # New York, 9 March 2031: 02:00 becomes 03:00; 3 November 2030: 02:00 becomes 01:00 again.
    profile = Profile(name="clock", time_zone="America/New_York")
    skipped = log(",L1,,,2031-03-09T02:30,note,,,,")
    take_in(programme, written(tmp_path, "home_log.csv", skipped), profile=profile)
    assert refusals(programme) == [(2, "done_at", "no_such_time")]
    lines = LINES.replace("2031-01-10", "2030-10-01")
    take_in(programme, written(tmp_path, "lines.csv", lines))
    twice = log(",L1,,,2030-11-03T01:30,note,,,,")
    take_in(programme, written(tmp_path, "home_log-2.csv", twice), profile=profile)
    assert doubts(programme) == [(2, "time_twice")]
    assert programme.records().home_log["done_at"].tolist() == [pd.Timestamp("2030-11-03 05:30")]


def test_a_row_received_on_a_date_counts_from_the_end_of_that_day(
    programme: Store, tmp_path: Path
) -> None:
    text = "line_id,done_at,kind,received_at\nL1,2031-03-10,note,2031-03-12\n"
    take_in(programme, written(tmp_path, "home_log.csv", text))
    received = programme.records().home_log["received_at"].tolist()
    assert received == [pd.Timestamp("2031-03-12 23:59:59.999999")]


@pytest.mark.parametrize(
    ("old", "new", "column", "reason"),
    [
        ("picc,2031-01-10", "pick,2031-01-10", "line_type", "unknown_code"),
        ("2031-01-10,2031-01-20,,", "2031-01-21,2031-01-20,,", "home_from", "home_before_placed"),
        ("2031-01-20,,,", "2031-01-20,2031-02-01,,", "removal_reason", "removal_incomplete"),
        ("2031-01-20,,,", "2031-01-20,,death,", "removed_on", "removal_incomplete"),
        ("2031-01-20,,,", "2031-01-20,2031-01-09,death,", "removed_on", "ended_before_placed"),
        ("2031-01-10,2031-01-20,,", "2031-01-10T08:00,2031-01-20,,", "placed_on", "time_in_date"),
        ("C1,F1,north", "C1,F1,", "site", "missing_value"),
    ],
)
def test_a_line_that_contradicts_itself_is_refused(
    store: Store, tmp_path: Path, old: str, new: str, column: str, reason: str
) -> None:
    head, first, *rest = LINES.splitlines()
    assert old in first
    text = "\n".join([head, first.replace(old, new), *rest, ""])
    assert take_in(store, written(tmp_path, "lines.csv", text)).stored == 4
    assert refusals(store) == [(2, column, reason)]


@pytest.mark.parametrize(
    ("born", "reason"),
    [
        ("2031-02", "born_after_placed"),
        ("1949-12", "implausible_date"),
        ("spring", "unreadable_month"),
        ("2030-13", "no_such_day"),
    ],
)
def test_a_month_of_birth_that_cannot_be_is_refused(
    store: Store, tmp_path: Path, born: str, reason: str
) -> None:
    head, first, *_ = LINES.splitlines()
    take_in(store, written(tmp_path, "lines.csv", f"{head},born\n{first},{born}\n"))
    assert refusals(store) == [(2, "born", reason)]


def test_of_a_whole_date_of_birth_only_the_month_is_kept(store: Store, tmp_path: Path) -> None:
    head, first, *_ = LINES.splitlines()
    take_in(store, written(tmp_path, "lines.csv", f"{head},born\n{first},2029-05-17\n"))
    assert store.records().lines["born"].tolist() == [pd.Timestamp("2029-05-01")]


@pytest.mark.parametrize(
    ("name", "text", "column", "reason"),
    [
        ("stays", "child_id,from_on,to_on\nC9,2031-03-01,\n", "child_id", "unknown_child"),
        (
            "stays",
            "child_id,from_on,to_on\nC1,2031-03-20,2031-03-20\n",
            "to_on",
            "stay_of_no_night",
        ),
        (
            "stays",
            "child_id,from_on,to_on\nC1,2031-03-20,2031-03-19\n",
            "to_on",
            "stay_ends_before_start",
        ),
        (
            "outcomes",
            "child_id,line_id,outcome,onset_on\nC1,L9,occlusion,2031-03-01\n",
            "line_id",
            "unknown_line",
        ),
        (
            "outcomes",
            "child_id,line_id,outcome,onset_on\nC2,L1,occlusion,2031-03-01\n",
            "child_id",
            "line_of_other_child",
        ),
        (
            "outcomes",
            "child_id,line_id,outcome,onset_on\nC1,L1,occlusion,2031-01-09\n",
            "onset_on",
            "before_placed",
        ),
        (
            "sign_offs",
            "caregiver_id,skill,signed_on,outcome\nP1,flush,2031-03-01,perfect\n",
            "outcome",
            "unknown_code",
        ),
    ],
)
def test_a_registry_row_that_contradicts_the_lines_is_refused(
    programme: Store, tmp_path: Path, name: str, text: str, column: str, reason: str
) -> None:
    take_in(programme, written(tmp_path, f"{name}.csv", text))
    assert refusals(programme) == [(2, column, reason)]


@pytest.mark.parametrize(
    ("name", "text", "doubt"),
    [
        ("caregivers", "caregiver_id,family_id\nP3,F9\n", "unknown_family"),
        (
            "sign_offs",
            "caregiver_id,skill,signed_on,outcome\nP9,flush,2031-03-01,not_yet\n",
            "unknown_caregiver",
        ),
        (
            "stays",
            "child_id,from_on,to_on,dressing_on\nC2,2031-03-01,2031-03-04,2031-03-06\n",
            "dressing_on_outside",
        ),
        (
            "outcomes",
            "child_id,line_id,outcome,onset_on\nC2,L2,occlusion,2031-02-11\n",
            "after_end",
        ),
        (
            "outcomes",
            "child_id,line_id,outcome,onset_on,confirmed_on\nC1,L1,occlusion,2031-03-02,2031-03-01\n",
            "confirmed_before_onset",
        ),
    ],
)
def test_an_odd_registry_row_goes_in_with_a_doubt(
    programme: Store, tmp_path: Path, name: str, text: str, doubt: str
) -> None:
    take_in(programme, written(tmp_path, f"{name}.csv", text))
    assert doubts(programme) == [(2, doubt)]


def test_harm_on_the_day_of_removal_is_not_odd(programme: Store, tmp_path: Path) -> None:
    text = "child_id,line_id,outcome,onset_on\nC2,L2,bloodstream_infection,2031-02-10\n"
    assert take_in(programme, written(tmp_path, "outcomes.csv", text)).doubts == 0


def test_rows_of_one_file_that_say_different_things_of_one_line_are_all_refused(
    store: Store, tmp_path: Path
) -> None:
    rows = LINES.splitlines()
    twice = [*rows[:3], rows[1].replace("north", "south"), rows[2]]
    summary = take_in(store, written(tmp_path, "lines.csv", "\n".join(twice)))
    assert refusals(store) == [(2, "line_id", "duplicate_key"), (4, "line_id", "duplicate_key")]
    assert (summary.stored, summary.same_as_before) == (1, 1)  # L2 twice, the same


def test_rows_received_at_different_times_are_versions_in_whatever_order_they_stand(
    store: Store, tmp_path: Path
) -> None:
    head, first, *_ = LINES.splitlines()
    text = f"{head},received_at\n{first.replace('north', 'south')},2031-03-02\n{first},2031-03-01\n"
    assert take_in(store, written(tmp_path, "lines.csv", text)).stored == 2
    assert store.records().lines["site"].tolist() == ["south"]
    early = store.records(datetime(2031, 3, 2, tzinfo=UTC))
    assert early.lines["site"].tolist() == ["north"]


def test_a_line_that_goes_back_to_an_older_content_is_stored_again(
    store: Store, tmp_path: Path
) -> None:
    removed = LINES.replace("2031-01-20,,,transparent", "2031-01-20,2031-03-01,death,transparent")
    for day, text in ((1, LINES), (2, removed), (3, LINES)):
        path = written(tmp_path, "lines.csv", text)
        take_in(store, path, received_at=datetime(2031, 4, day, tzinfo=UTC))
    assert store.records().lines["removed_on"].isna().tolist()[-1] is True
    assert len(store.records().lines) == 5
    assert doubts(store) == [(2, "older_version")]


def test_unknown_columns_are_kept_with_the_row_and_reported(
    programme: Store, tmp_path: Path
) -> None:
    text = 'line_id,done_at,kind,Mood,,Weather\nL1,2031-03-10,note,"so ""so""",x,\n'
    summary = take_in(programme, written(tmp_path, "home_log.csv", text))
    assert summary.notes == (
        "home_log.csv: Mood and Weather: not a column of home_log; stored with the rows.",
    )
    row = programme.source_rows("home_log", programme.records().home_log["row"].tolist())[0]
    assert row.content["Mood"] == 'so "so"'
    assert row.content["column 5"] == "x"
    assert "Weather" not in row.content


def test_connector_changes_of_earlier_files_are_found_whatever_days_the_pieces_of_a_file_hold(
    programme: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analysis.ingest.csv_file.BATCH_BYTES", 40)  # a piece a row
    before = log(*(f",L1,,,2031-02-{day:02d},connector_change,,,," for day in (1, 10, 20)))
    take_in(programme, written(tmp_path, "home_log-1.csv", before))
    now = log(*(f",L1,,,2031-02-{day:02d},connector_change,,,," for day in (12, 24, 3, 21, 16)))
    take_in(programme, written(tmp_path, "home_log-2.csv", now))
    # 12 follows 10, 24 follows 20 by four days, 3 follows 1, 21 follows 20, 16 follows 12.
    assert [row for row, doubt in doubts(programme)] == [2, 4, 5]


def test_characters_that_no_database_takes_are_shown_as_signs(
    programme: Store, tmp_path: Path
) -> None:
    text = log(",L1,,,2031-03-10,no\x00te,,,,")
    take_in(programme, written(tmp_path, "home_log.csv", text))
    assert programme.refused()["value"].tolist() == ["no\ufffdte"]


CALLS = "family_id,called_at,called_by,outcome,agreed,recheck_on,note\n"


def test_calls_made_elsewhere_come_from_a_file(programme: Store, tmp_path: Path) -> None:
    rows = (
        "F1,2031-03-30T09:10,N1,no_answer,,,",
        "F1,2031-03-30T15:00,N1,reached,new kit by post,2031-04-02,",
        "F2,2031-03-30,N1,reached,,,",
        "F9,2031-03-30T10:00,N1,reached,,,",
        "F2,2031-03-30T11:00,N1,left_message,,,",
        "F2,2031-03-30T12:00,N1,reached,,2031-03-29,",
    )
    path = written(tmp_path, "calls.csv", CALLS + "\n".join(rows))
    summary = take_in(programme, path)
    assert (summary.stored, summary.refused) == (3, 3)
    assert refusals(programme) == [
        (4, "called_at", "no_time"),
        (5, "family_id", "unknown_family"),
        (6, "outcome", "unknown_code"),
    ]
    assert doubts(programme) == [(7, "call_again_before_call")]
    calls = programme.records().calls
    assert calls["called_on"].dt.strftime("%d").tolist() == ["30"] * 3
    assert calls["called_at"].dt.strftime("%H:%M").tolist() == ["09:10", "15:00", "12:00"]
    again = written(tmp_path, "calls-2.csv", CALLS + rows[1].replace("post", "car"))
    assert take_in(programme, again).stored == 1
    assert programme.records().calls["agreed"].dropna().tolist() == ["new kit by car"]
