"""The invented programme goes through the files of four sources and comes out as it was made."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest

from analysis.ingest import ingest, load_profile
from analysis.ingest.refused import write_back
from analysis.store import Store
from analysis.tables import INCOMING
from synthetic_data.demo import Demo, generate
from synthetic_data.files import Written, write
from synthetic_data.spoiling import WrongRow
from tests.ingest_files import POLICY

UNTIL = date(2031, 3, 1)
AT = datetime(2031, 3, 1, tzinfo=UTC)
Place = tuple[str, str | None, int]


@pytest.fixture(scope="module")
def demo() -> Demo:
    return generate(40, until=UNTIL, seed=11, years=0.5)


def store_of(demo: Demo, folder: Path, *, wrong_share: float) -> tuple[Store, Written]:
    """A store that took in the demo's files, some rows of them wrong."""
    files = write(demo, folder / "in", wrong_share=wrong_share)
    store = Store.open(f"sqlite:///{folder}/store.sqlite")
    for path, profile in files.sources:
        looks = None if profile is None else load_profile(profile)
        summary = ingest(store, path, POLICY, looks, received_at=AT, ingested_at=AT)
        assert summary.faults == ()
    return store, files


def places(store: Store) -> dict[int, Place]:
    """Where each refused row stands, by its number."""
    rows = store.refused()
    sheets = rows["sheet"].astype(object).where(rows["sheet"].notna(), None)
    where = zip(rows["file"], sheets, rows["row_number"].tolist(), strict=True)
    return dict(zip(rows["refused_row"].tolist(), where, strict=True))


def place(row: WrongRow) -> Place:
    return Path(row.file).name, row.sheet, row.row_number


def content(store: Store) -> dict[str, pd.DataFrame]:
    known = store.records()
    frames = {table: getattr(known, table).drop(columns="row").astype(str) for table in INCOMING}
    return {t: f.sort_values(list(f.columns), ignore_index=True) for t, f in frames.items()}


def mend(path: Path, where: Mapping[int, Place], wrong: Mapping[Place, WrongRow]) -> None:
    """Put right, in a file written back, what the generator spoilt."""
    with path.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    for row in rows:
        right = wrong[where[int(row["refused_row"])]]
        row[right.column] = right.canonical
        if right.reason == "unreadable_tick":
            row[right.head] = ""
    with path.open("w", encoding="utf-8", newline="") as stream:
        sheet = csv.DictWriter(stream, list(rows[0]))
        sheet.writeheader()
        sheet.writerows(rows)


def test_every_row_spoilt_on_purpose_is_refused_for_its_reason_and_no_other_row_is(
    demo: Demo, tmp_path: Path
) -> None:
    store, files = store_of(demo, tmp_path, wrong_share=0.01)
    with store:
        rows = store.refused()
        found = dict(zip(places(store).values(), rows["reason"], strict=True))
    assert len(files.wrong) > 50
    assert found == {place(row): row.reason for row in files.wrong}


def test_mended_rows_make_the_store_the_same_as_if_nothing_had_been_wrong(
    demo: Demo, tmp_path: Path
) -> None:
    for name in ("wrong", "right"):
        (tmp_path / name).mkdir()
    store, files = store_of(demo, tmp_path / "wrong", wrong_share=0.01)
    right, _ = store_of(demo, tmp_path / "right", wrong_share=0)
    with store, right:
        wrong = {place(row): row for row in files.wrong}
        where = places(store)
        for path in write_back(store, tmp_path / "mend"):
            mend(path, where, wrong)
        summary = ingest(store, tmp_path / "mend", POLICY, received_at=AT, ingested_at=AT)
        assert (summary.faults, summary.refused) == ((), 0)
        assert store.refused().empty
        mended, expected = content(store), content(right)
        for table, frame in expected.items():
            pd.testing.assert_frame_equal(mended[table], frame, obj=table)


def test_the_files_read_a_second_time_change_nothing(demo: Demo, tmp_path: Path) -> None:
    store, files = store_of(demo, tmp_path, wrong_share=0.01)
    with store:
        before, listed = content(store), places(store)
        for path, profile in files.sources:
            looks = None if profile is None else load_profile(profile)
            assert ingest(store, path, POLICY, looks, ingested_at=AT).stored == 0
        for table, frame in content(store).items():
            pd.testing.assert_frame_equal(frame, before[table], obj=table)
        assert places(store) == listed
