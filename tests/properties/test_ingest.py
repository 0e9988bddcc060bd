"""Reading, splitting, repeating and shuffling files against slow readings of the same rules."""

from __future__ import annotations

import csv
import functools
import io
import tempfile
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from unittest import mock
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from analysis.ingest import FileFault, IngestError, Profile, ingest
from analysis.ingest.csv_file import csv_part
from analysis.ingest.identity import canonical, extra_json, text_of_rows
from analysis.ingest.moments import NONE, DateOrder, DateStyle, read_moments
from analysis.ingest.profile import TableProfile
from analysis.ingest.raw import LogFile
from analysis.ingest.zones import local_days, to_utc
from analysis.policy import shipped_policy
from analysis.store import Store
from tests.cases import cases
from tests.ingest_files import CAREGIVERS, LINES, STAYS

EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001
MICROSECOND = timedelta(microseconds=1)
few = cases(25, suppress_health_check=[HealthCheck.too_slow])
many = cases(200)


# Dates and clocks

texts_of_moments = st.builds(
    lambda moment, seconds, between, offset: (
        moment.strftime(f"%Y-%m-%d{between}%H:%M{':%S' if seconds else ''}") + offset
    ),
    st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1)),  # noqa: DTZ001
    st.booleans(),
    st.sampled_from("T "),
    st.one_of(
        st.just(""),
        st.builds(
            lambda sign, hours, minutes: f"{sign}{hours:02d}:{minutes:02d}",
            st.sampled_from("+-"),
            st.integers(0, 14),
            st.integers(0, 59),
        ),
    ),
)


@many
@given(st.lists(texts_of_moments, max_size=20))
def test_iso_timestamps_are_read_as_the_standard_library_reads_them(texts: list[str]) -> None:
    found = read_moments(pa.array(texts, pa.string()))
    assert len(found.day) == len(found.time) == len(found.offset) == len(texts)
    for at, text in enumerate(texts):
        moment = datetime.fromisoformat(text)
        clock = moment.replace(tzinfo=None)
        assert found.day[at] == clock.toordinal() - date(1970, 1, 1).toordinal()
        midnight = datetime.combine(clock.date(), datetime.min.time())
        assert found.time[at] == (clock - midnight) // MICROSECOND
        offset = moment.utcoffset()
        assert found.offset[at] == (NONE if offset is None else offset // MICROSECOND)


@many
@given(
    st.lists(st.text(alphabet="0123456789-/.: T+Z", max_size=17), max_size=20),
    st.sampled_from(DateOrder),
)
def test_a_text_is_read_or_has_a_fault_and_never_both(texts: list[str], order: DateOrder) -> None:
    cells = [text.strip() or None for text in texts]
    found = read_moments(pa.array(cells, pa.string()), DateStyle(order))
    readable = [
        cell is not None and fault < 0 for cell, fault in zip(cells, found.fault, strict=True)
    ]
    assert (found.day != NONE).tolist() == readable


@many
@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.sampled_from("/.-"), st.booleans())
def test_a_declared_order_turns_back_what_was_written_in_it(
    day: date, mark: str, padded: bool
) -> None:
    parts = (day.day, day.month)
    for order, (first, second) in ((DateOrder.DMY, parts), (DateOrder.MDY, parts[::-1])):
        width = 2 if padded else 1
        text = f"{first:0{width}}{mark}{second:0{width}}{mark}{day.year}"
        found = read_moments(pa.array([text]), DateStyle(order))
        assert found.day.tolist() == [day.toordinal() - date(1970, 1, 1).toordinal()]


zones = st.sampled_from(
    ["Asia/Tokyo", "Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Pacific/Apia"]
)


@many
@given(zones, st.integers(1995, 2050), st.integers(0, 366 * 96), st.integers(0, 3))
def test_clock_times_become_the_moments_that_zoneinfo_gives(
    zone: str, year: int, quarter_hour: int, further: int
) -> None:
    # A quarter of an hour of a year, and the same hours later: near a change there are many.
    clocks = [
        datetime(year, 1, 1) + timedelta(minutes=15 * (quarter_hour + 4 * step))  # noqa: DTZ001
        for step in range(further + 1)
    ]
    local = np.array([(clock - EPOCH) // MICROSECOND for clock in clocks], np.int64)
    found = to_utc(local, zone)
    for at, clock in enumerate(clocks):
        early, late = (clock.replace(tzinfo=ZoneInfo(zone), fold=f).astimezone(UTC) for f in (0, 1))
        never = early.astimezone(ZoneInfo(zone)).replace(tzinfo=None) != clock
        assert found.never[at] == never
        if not never:
            assert found.twice[at] == (early != late)
            assert found.utc[at] == (early.replace(tzinfo=None) - EPOCH) // MICROSECOND
            day = local_days(found.utc[at : at + 1], zone)[0]
            assert EPOCH.date() + timedelta(days=int(day)) == clock.date()


@given(st.integers(-14 * 60, 14 * 60))
@few
def test_the_same_moment_written_with_any_offset_is_the_same(minutes: int) -> None:
    moment = datetime(2031, 3, 4, 12, tzinfo=UTC)
    text = moment.astimezone(timezone(timedelta(minutes=minutes))).isoformat()
    found = read_moments(pa.array([text]))
    utc = found.day * 86_400_000_000 + found.time - found.offset
    assert utc.tolist() == [(moment.replace(tzinfo=None) - EPOCH) // MICROSECOND]


# Text files

cells = st.text(alphabet='ab,;"\n\r é', max_size=6)


def read_rows(content: bytes, batch_bytes: int) -> dict[int, list[str]]:
    """Row numbers and cells (ragged rows without theirs) as the reader of CSV files finds them."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "home_log.csv"
        path.write_bytes(content)
        found: dict[int, list[str]] = {}
        with mock.patch("analysis.ingest.csv_file.BATCH_BYTES", batch_bytes):
            part = csv_part(LogFile.at(path), Profile(), "home_log")
            for raw in part.batches():
                columns = [column.to_pylist() for column in raw.cells.values()]
                rows = zip(*columns, strict=True)
                ragged = {b.row for b in raw.broken}
                for at, (number, row) in enumerate(
                    zip(raw.row_numbers.tolist(), rows, strict=True)
                ):
                    assert number not in found
                    found[number] = ["ragged"] if at in ragged else [c or "" for c in row]
        return found


def slow_rows(text: str) -> dict[int, list[str]]:
    """The same by Python's own reader; raises where quotation marks are out of place."""
    found: dict[int, list[str]] = {}
    for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), strict=True), start=1):
        filled = [cell.strip() for cell in row]
        if number == 1 or not any(filled):
            continue
        whole = len(row) >= 3 and not any(filled[3:])
        found[number] = filled[:3] if whole else ["ragged"]
    return found


HEAD = "line_id,done_at,kind"


@many
@given(st.lists(st.lists(cells, min_size=3, max_size=3), max_size=12), st.integers(1, 60))
def test_rows_written_by_the_standard_library_are_read_back(
    rows: Sequence[Sequence[str]], batch_bytes: int
) -> None:
    stream = io.StringIO(newline="")
    csv.writer(stream).writerows([HEAD.split(","), *rows])
    text = stream.getvalue()
    assert read_rows(text.encode(), batch_bytes) == slow_rows(text)


@cases(500)
@given(st.text(alphabet='a,"\n ', max_size=40), st.integers(1, 30))
def test_any_text_is_read_as_by_a_slow_reader_or_refused_for_its_quotation_marks(
    body: str, batch_bytes: int
) -> None:
    text = f"{HEAD}\n{body}"
    try:
        expected = slow_rows(text)
    except csv.Error:
        with pytest.raises(IngestError) as fault:
            read_rows(text.encode(), batch_bytes)
        assert fault.value.code is FileFault.QUOTE
    else:
        assert read_rows(text.encode(), batch_bytes) == expected


# Keys and contents

texts = st.one_of(st.none(), st.text(alphabet='ab;{}":,\\é', min_size=1, max_size=4))
three_texts = st.tuples(texts, texts, texts)


def columns_of(rows: list[tuple[str | None, ...]]) -> dict[str, pa.Array]:
    """Canonical columns of rows of three cells: names that are the beginning of one another."""
    columns = zip(*rows, strict=True)
    names = ("a", "ab", "b")
    return {n: canonical(pa.array(c, pa.string())) for n, c in zip(names, columns, strict=True)}


@many
@given(st.lists(three_texts, min_size=2, max_size=12, unique=True))
def test_different_rows_never_have_the_same_text(rows: list[tuple[str | None, ...]]) -> None:
    assert len(set(text_of_rows(columns_of(rows)))) == len(rows)
    cells = [pa.array(column, pa.string()) for column in zip(*rows, strict=True)]
    extra = extra_json({str(at): column for at, column in enumerate(cells)}, len(rows))
    assert len(set(extra.to_pylist())) == len(rows)


@many
@given(st.lists(three_texts, min_size=1, max_size=12))
def test_the_text_of_a_row_names_its_filled_columns_in_order(
    rows: list[tuple[str | None, ...]],
) -> None:
    slow = [
        "\x1f".join(
            f"{name}\x1d{cell}"
            for name, cell in sorted(zip(("a", "ab", "b"), row, strict=True))
            if cell is not None
        ).encode()
        for row in rows
    ]
    assert text_of_rows(columns_of(rows)) == slow


@many
@given(st.lists(three_texts, min_size=1, max_size=12), st.sampled_from(["A", "aa", "c"]))
def test_a_further_column_counts_only_in_the_rows_that_fill_it(
    rows: list[tuple[str | None, ...]], name: str
) -> None:
    before = columns_of(rows)
    blank = pa.nulls(len(rows), pa.binary())
    assert text_of_rows({**before, name: blank}) == text_of_rows(before)
    first = pa.array([b"x", *[None] * (len(rows) - 1)], pa.binary())
    with_first = text_of_rows({**before, name: first})
    assert with_first[0] != text_of_rows(before)[0]
    assert with_first[1:] == text_of_rows(before)[1:]


# Whole files

POLICY = shipped_policy()
AT = datetime(2031, 3, 31, 12, tzinfo=UTC)
LOG_HEAD = "entry_id,line_id,family_id,caregiver_id,done_at,kind,findings,kits_left"

log_rows = st.builds(
    lambda *parts: ",".join(parts),
    st.sampled_from(["", "", "E1", "E2", "E3"]),
    st.sampled_from(["L1", "L2", "L3", "L4", "L9", ""]),
    st.sampled_from(["", "", "F1", "F2", "F4"]),
    st.sampled_from(["", "P1", "P2", "P9"]),
    st.sampled_from(["2031-03-01", "2031-03-02T10:00", "2031-03-06", "03/04/2031", ""]),
    st.sampled_from(["dressing_change", "connector_change", "skin_check", "bath"]),
    st.sampled_from(["", "none", "redness", "itch;redness", "rednes"]),
    st.sampled_from(["", "1", "2", "many"]),
)


@functools.cache
def programme() -> bytes:
    """A closed store that knows lines, stays and caregivers."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "registry"
        folder.mkdir()
        for name, text in (("lines", LINES), ("stays", STAYS), ("caregivers", CAREGIVERS)):
            (folder / f"{name}.csv").write_text(text)
        with Store.open(f"sqlite:///{place}/store.sqlite") as store:
            assert ingest(store, folder, POLICY, received_at=AT, ingested_at=AT).refused == 0
        return (Path(place) / "store.sqlite").read_bytes()


def after_ingest(*files: Sequence[str], times: int = 1) -> tuple[list[tuple[object, ...]], ...]:
    """What the programme's store knows and refuses after files of log rows."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "store.sqlite").write_bytes(programme())
        logs = [folder / f"home_log-{at:03d}.csv" for at in range(len(files))]
        for path, rows in zip(logs, files, strict=True):
            path.write_text("\n".join([LOG_HEAD, *rows, ""]))
        with Store.open(f"sqlite:///{folder}/store.sqlite") as store:
            for time in range(times):
                counts = ingest(store, logs, POLICY, received_at=AT, ingested_at=AT)
                for count in counts.tables:
                    assert count.read == count.stored + count.same_as_before + count.refused
                assert counts.read == sum(map(len, files))
                assert time == 0 or counts.stored == 0
            known = store.records().home_log.drop(columns="row")
            refused = store.refused()[["column", "value", "reason", "row"]]
            return tuple(
                sorted(map(tuple, frame.astype(str).to_numpy().tolist()))
                for frame in (known, refused)
            )


@few
@given(st.lists(log_rows, max_size=12))
def test_the_same_file_twice_changes_nothing(rows: list[str]) -> None:
    assert after_ingest(rows, times=2) == after_ingest(rows)


@few
@given(st.lists(log_rows, min_size=2, max_size=12), st.data())
def test_a_file_split_in_several_says_the_same_and_a_second_run_over_them_changes_nothing(
    rows: list[str], data: st.DataObject
) -> None:
    cuts = sorted(data.draw(st.sets(st.integers(1, len(rows) - 1), max_size=3)))
    edges = zip([0, *cuts], [*cuts, len(rows)], strict=True)
    files = [rows[start:end] for start, end in edges]
    known, refused = after_ingest(*files, times=2)
    whole, refused_of_whole = after_ingest(rows)
    assert known == whole
    # A later file's row takes a refused one with its entry number off the list.
    assert set(refused) <= set(refused_of_whole)


@few
@given(st.lists(log_rows, min_size=2, max_size=12), st.randoms(use_true_random=False))
def test_the_order_of_rows_matters_only_to_corrections(rows: list[str], draw: object) -> None:
    distinct = {row.split(",")[0] or row: row for row in rows}  # one row an entry number
    rows = list(distinct.values())
    shuffled = rows.copy()
    draw.shuffle(shuffled)  # type: ignore[attr-defined]
    assert after_ingest(shuffled) == after_ingest(rows)


READINGS = (
    Profile("ward"),
    Profile("ward", time_zone="America/New_York"),
    Profile("ward", tables={"home_log": TableProfile(heads={"Number": "entry_id"})}),
    Profile(
        "ward",
        time_zone="Asia/Tokyo",
        tables={"home_log": TableProfile(heads={"Kits": "kits_left", "Seen": "findings"})},
    ),
)
"""The same source as its profile changes: clocks, and heads that become known."""

source_rows = st.builds(
    lambda *parts: ",".join(parts),
    st.sampled_from(["", "", "1", "2"]),
    st.sampled_from(["L1", "L1", "L2"]),
    st.sampled_from(
        [f"2031-02-0{day}T{hour:02d}:00" for day in (1, 2) for hour in (1, 10, 15, 20)]
    ),
    st.sampled_from(["flush", "skin_check"]),
    st.sampled_from(["", "none", "redness"]),
    st.sampled_from(["", "1", "2"]),
)


def known_after_readings(rows: Sequence[str], readings: Sequence[Profile]) -> list[object]:
    """What the programme's store knows after one file was read in several ways, one after another."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "store.sqlite").write_bytes(programme())
        path = folder / "home_log.csv"
        path.write_text("\n".join(["Number,line_id,done_at,kind,Seen,Kits", *rows, ""]))
        with Store.open(f"sqlite:///{folder}/store.sqlite") as store:
            for day, profile in enumerate(readings):
                at = AT + timedelta(days=day)
                ingest(store, path, POLICY, profile, received_at=at, ingested_at=at)
            known = store.records().home_log.drop(columns=["row", "received_at"])
            return sorted(map(tuple, known.astype(str).to_numpy().tolist()))


@few
@given(
    st.lists(source_rows, max_size=8), st.lists(st.sampled_from(READINGS), min_size=1, max_size=4)
)
def test_a_file_read_in_several_ways_ends_as_if_read_in_the_last_way_only(
    rows: list[str], readings: list[Profile]
) -> None:
    assert known_after_readings(rows, readings) == known_after_readings(rows, readings[-1:])


@few
@given(st.lists(log_rows, min_size=1, max_size=30))
def test_pieces_of_any_size_give_the_same_store(rows: list[str]) -> None:
    whole = after_ingest(rows)
    with mock.patch("analysis.ingest.csv_file.BATCH_BYTES", 100):
        assert after_ingest(rows) == whole


def test_the_frames_compared_are_not_empty() -> None:
    known, refused = after_ingest(
        ["E1,L1,,,2031-03-01,skin_check,none,1", ",L9,,,2031-03-01,note,,"]
    )
    assert (len(known), len(refused)) == (1, 1)
