"""Dates and times of day read from text, and put on a calendar."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from analysis.ingest import ingest
from analysis.ingest.moments import FAULTS, NONE, DateOrder, DateStyle, read_moments
from analysis.ingest.zones import local_days, to_utc
from analysis.store import Store
from tests.ingest_files import POLICY, RECEIVED_AT, programme, refusals, store, written

__all__ = ["programme", "store"]

NEW_YORK = "2031-01-20T21:00:00-05:00"


def test_a_moment_with_an_offset_waits_for_the_time_zone_of_the_programme(
    programme: Store, tmp_path: Path
) -> None:
    head = "entry_id,line_id,done_at,kind\n"
    dates = written(tmp_path, "home_log-1.csv", f"{head}E1,L1,2031-01-20,note\n")
    evening = written(tmp_path, "home_log-2.csv", f"{head}E2,L1,{NEW_YORK},note\n")
    unset = ingest(
        programme,
        [dates, evening],
        POLICY,
        received_at=RECEIVED_AT,
        ingested_at=RECEIVED_AT,
        zone_is_set=False,
    )
    assert (unset.stored, len(unset.faults)) == (1, 1)
    assert str(unset.faults[0]).startswith("home_log-2.csv: row 2: done_at names an offset")
    assert len(programme.records().home_log) == 1
    set_to = replace(POLICY, time_zone="America/New_York")
    ingest(programme, evening, set_to, received_at=RECEIVED_AT, ingested_at=RECEIVED_AT)
    assert programme.records().home_log["done_on"].dt.day.tolist() == [20, 20]


def read(text: str, order: DateOrder = DateOrder.ISO) -> str:
    """Day, time and offset as text, or the reason code."""
    found = read_moments(pa.array(["2031-01-01", text, None], pa.string()), DateStyle(order))
    if found.fault[1] >= 0:
        return str(FAULTS[found.fault[1]])
    day = str(np.datetime64(int(found.day[1]), "D"))
    time = "" if found.time[1] == NONE else f" {np.timedelta64(int(found.time[1]), 'us').item()}"
    offset = "" if found.offset[1] == NONE else f" {found.offset[1] / 3.6e9:+g}h"
    return day + time + offset


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("2031-03-04", "2031-03-04"),
        ("2028-02-29", "2028-02-29"),
        ("2000-02-29", "2000-02-29"),
        ("2031/03/04", "2031-03-04"),
        ("2031-03-04T08:05", "2031-03-04 8:05:00"),
        ("2031-03-04 08:05:09", "2031-03-04 8:05:09"),
        ("2031-03-04T08:05:09.250", "2031-03-04 8:05:09.250000"),
        ("2031-03-04T08:05:09,25Z", "2031-03-04 8:05:09.250000 +0h"),
        ("2031-03-04T08:05Z", "2031-03-04 8:05:00 +0h"),
        ("2031-03-04T08:05+09", "2031-03-04 8:05:00 +9h"),
        ("2031-03-04T08:05-0330", "2031-03-04 8:05:00 -3.5h"),
        ("2031-03-04T08:05:09+05:45", "2031-03-04 8:05:09 +5.75h"),
    ],
)
def test_iso_text_is_read_whatever_the_declared_order(text: str, meaning: str) -> None:
    assert {read(text, order) for order in DateOrder} == {meaning}


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("03/04/2031", "ambiguous_date"),
        ("3.4.2031", "ambiguous_date"),
        ("03-04-2031 10:00", "ambiguous_date"),
        ("25/12/2031", "date_order"),
        ("12/25/2031", "date_order"),
        ("03/04/31", "two_digit_year"),
        ("2031-3-4", "unreadable_date"),
        ("20310304", "unreadable_date"),
        ("47546", "unreadable_date"),
        ("2100-02-29", "no_such_day"),
        ("2031-00-10", "no_such_day"),
        ("2031-04-31T10:00", "no_such_day"),
        ("2031-03-04T24:00", "unreadable_date"),
        ("2031-03-04T10:60", "unreadable_date"),
        ("2031-03-04T10", "unreadable_date"),
        ("2031-03-04T10:00+15:00", "unreadable_date"),
        ("2031-03-04T10:00+9", "unreadable_date"),
        ("2031-03-04 noon", "unreadable_date"),
        ("２０３１-03-04", "unreadable_date"),
    ],
)
def test_nothing_is_guessed_without_a_declared_order(text: str, reason: str) -> None:
    assert read(text) == reason


@pytest.mark.parametrize(
    ("text", "order", "meaning"),
    [
        ("03/04/2031", DateOrder.DMY, "2031-04-03"),
        ("03/04/2031", DateOrder.MDY, "2031-03-04"),
        ("3.4.2031", DateOrder.DMY, "2031-04-03"),
        ("3-4-2031 9:05", DateOrder.MDY, "2031-03-04 9:05:00"),
        ("25/12/2031 14:00:10", DateOrder.DMY, "2031-12-25 14:00:10"),
        ("25/12/2031", DateOrder.MDY, "no_such_day"),
        ("12/25/2031", DateOrder.DMY, "no_such_day"),
        ("31/2/2031", DateOrder.DMY, "no_such_day"),
        ("3/4/31", DateOrder.DMY, "two_digit_year"),
        ("3/4/2031 9:05 PM", DateOrder.DMY, "2031-04-03 21:05:00"),
    ],
)
def test_a_declared_order_is_the_only_one_tried(text: str, order: DateOrder, meaning: str) -> None:
    assert read(text, order) == meaning


def micros(text: str) -> np.ndarray:
    return np.array([np.datetime64(text, "us")]).astype(np.int64)


def test_a_clock_set_back_shows_a_time_twice_and_the_earlier_counts() -> None:
    # Berlin, 26 October 2031, 03:00 becomes 02:00: 02:30 is 00:30 UTC and again 01:30 UTC.
    found = to_utc(micros("2031-10-26T02:30"), "Europe/Berlin")
    assert found.twice.tolist() == [True]
    assert found.utc.tolist() == micros("2031-10-26T00:30").tolist()


def test_a_day_of_23_hours_is_one_day() -> None:
    # Berlin, 30 March 2031: the clocks go forward at 02:00.
    moments = np.concatenate([micros("2031-03-29T23:00"), micros("2031-03-30T21:59:59")])
    days = local_days(moments, "Europe/Berlin").astype("datetime64[D]").astype(str)
    assert days.tolist() == ["2031-03-30", "2031-03-30"]


def test_no_moments_need_no_zone_table() -> None:
    nothing = np.zeros(0, np.int64)
    assert len(to_utc(nothing, "Asia/Tokyo").utc) == len(local_days(nothing, "Asia/Tokyo")) == 0


def test_a_year_outside_the_zone_table_is_refused_like_any_other_wrong_year(
    programme: Store, tmp_path: Path
) -> None:
    head = "line_id,done_at,kind\n"
    for n, year in enumerate(("3031", "0031")):
        path = written(tmp_path, f"home_log-{n}.csv", f"{head}L1,{year}-03-04 09:30,note\n")
        ingest(programme, path, POLICY, received_at=RECEIVED_AT, ingested_at=RECEIVED_AT)
    assert [code for _, _, code in refusals(programme)] == ["implausible_date"] * 2
