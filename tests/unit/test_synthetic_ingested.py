"""Does ingest find in the demo's files just what was put into them, and nothing else?"""

import csv
from collections import Counter
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from analysis.ingest import ingest, load_profile
from analysis.ingest.refused import write_back
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.tables import INCOMING
from synthetic_data import Demo, Written, generate, write

AS_OF = date(2031, 3, 12)


@pytest.fixture(scope="module")
def made() -> Demo:
    return generate(60, until=AS_OF, seed=2)


@pytest.fixture(scope="module")
def written(made, tmp_path_factory) -> Written:
    return write(made, tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def store(written, tmp_path_factory):
    store = Store.open(f"sqlite:///{tmp_path_factory.mktemp('store') / 'demo.sqlite'}")
    for path, profile in written.sources:
        summary = ingest(
            store, [path], shipped_policy(), load_profile(profile) if profile else None
        )
        assert not summary.faults
        assert summary.read == summary.stored + summary.refused
    yield store
    store.close()


def where(one) -> tuple[str, int]:
    return Path(one.file).name, one.row_number


def mended(folder: Path, store: Store, written: Written) -> list[Path]:
    """The refused rows as ingest wrote them back, each wrong cell set right."""
    right = {where(one): one for one in written.wrong}
    number = {row.refused_row: right[where(row)] for row in store.refused().itertuples()}
    at_fault = dict(store.refused()[["refused_row", "column"]].itertuples(index=False))
    paths = write_back(store, folder)
    for path in paths:
        with path.open(newline="", encoding="utf-8") as stream:
            rows = list(csv.DictReader(stream))
        for row in rows:
            one = number[int(row["refused_row"])]
            row[one.column] = one.canonical
            if one.reason == "unreadable_tick":  # as its sentence asks: the code written out
                row[at_fault[int(row["refused_row"])]] = ""
        with path.open("w", newline="", encoding="utf-8") as stream:
            sheet = csv.DictWriter(stream, list(rows[0]))
            sheet.writeheader()
            sheet.writerows(rows)
    return paths


def test_ingest_refuses_the_planted_rows_for_the_planted_reason_and_no_other(
    written, store
) -> None:
    planted = Counter((*where(one), one.table, one.reason) for one in written.wrong)
    refused = store.refused()
    assert planted == Counter(
        (row.file, row.row_number, row.table, row.reason) for row in refused.itertuples()
    )


def test_ingest_has_doubts_about_the_odd_entries(made, store) -> None:
    doubts = store.doubts()
    told = Counter(one.detail for one in made.truth.odd)
    for code, count in told.items():
        assert (doubts["doubt"] == code).sum() >= count, code
    log = store.records().home_log.set_index("row")
    lines = doubts.loc[doubts["table"] == "home_log", ["row", "doubt"]]
    doubted = {(log.at[row, "line_id"], code) for row, code in lines.to_numpy() if row in log.index}
    assert {(one.line_id, one.detail) for one in made.truth.odd} <= doubted


def test_once_the_wrong_rows_are_mended_the_store_holds_the_whole_programme(
    made, written, store, tmp_path
) -> None:
    summary = ingest(store, mended(tmp_path, store, written), shipped_policy())
    assert summary.refused == 0
    assert store.refused().empty
    records = store.records()
    for table, frame in made.frames.items():
        entry = INCOMING[table]
        keys = list(entry.key)
        keyed = frame[keys].notna().all(axis=1)
        kept = pd.concat([frame[~keyed], frame[keyed].drop_duplicates(keys, keep="last")])
        kept = kept[~kept["void"]]
        found = getattr(records, table)
        assert len(found) == len(kept), table
        same = [n for n in entry.names if n in found and n not in ("line_id", "family_id")]
        same = [n for n in same if n != "done_at"] if table == "home_log" else entry.names
        assert rows_of(found, same) == rows_of(kept, same), table
    days = Counter(records.home_log["done_on"].dt.strftime("%Y-%m-%d"))
    log = made.frames["home_log"]
    newest = log[log["entry_id"].isna() | ~log.duplicated("entry_id", keep="last")]
    told = newest.loc[~newest["void"], "done_at"].dt.strftime("%Y-%m-%d")
    assert days == Counter(told)


def rows_of(frame: pd.DataFrame, columns: list[str]) -> Counter[tuple[str, ...]]:
    """Rows as text, lists of codes in one order, however many there are of each."""
    text = frame[columns].astype("string").fillna("")
    for name in {"findings", "steps_missed"} & set(columns):
        text[name] = text[name].str.split(";").map(lambda codes: ";".join(sorted(codes)))
    return Counter(text.itertuples(index=False, name=None))
