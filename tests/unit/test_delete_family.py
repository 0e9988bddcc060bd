"""A family that is deleted on request leaves its code in the access log and nothing else."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa

from analysis.decisions.retention import past_retention
from analysis.ingest import IngestSummary, ingest
from analysis.policy import PolicyError, parse_policy, shipped_policy
from analysis.store import Change, Store, StoreError
from analysis.store.schema import metadata
from analysis.tables.training_sessions import SessionPlan
from analysis.vocabulary import Access, CallOutcome
from tests.commands import run
from tests.empty_store import made_once
from tests.stored_rows import store, url

__all__ = ["run", "store", "url"]

NOW = datetime(2031, 4, 1, 9, tzinfo=UTC)
POLICY = shipped_policy()
HEAD = "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,contact\n"
END = "picc,2031-01-01,2031-01-02,transparent"
FIRST = {
    "lines.csv": f"{HEAD}LX1,CX1,FX1,north,{END},555-0101\nLX12,CX12,FX12,north,{END},555-0202\n"
}
FILES = {
    "lines moved.csv": f"{HEAD}LX1,CX1,FX1,south,{END},555-0101\n",
    "stays.csv": "child_id,from_on,to_on\nCX1,2031-02-01,2031-02-03\nCX12,2031-02-01,2031-02-03\n",
    "caregivers.csv": "caregiver_id,family_id\nGX1,FX1\nGX12,FX12\n",
    "sign_offs.csv": (
        "caregiver_id,skill,signed_on,outcome\n"
        "GX1,flush,2031-01-02,independent\nGX12,flush,2031-01-02,independent\n"
    ),
    "home_log FX1.csv": (
        "entry_id,line_id,done_at,kind,note\n"
        "ex1,LX1,2031-01-05,flush,secret of one\n"
        "ex1,LX1,2031-01-06,flush,secret of one as corrected\n"
        "ex2,LX1,2031-13-06,flush,refused of one\n"
    ),
    "home_log.csv": (
        "entry_id,line_id,done_at,kind,note\n"
        "ey1,LX12,2031-01-05,flush,kept of twelve\n"
        "ey2,LX12,2031-13-05,flush,refused of twelve\n"
        "ey3,LX1,2031-01-07,flush,sent for the wrong line\n"
        "ey4,lx1,2031-01-08,flush,refused of one in small letters\n"
    ),
    "outcomes.csv": "child_id,line_id,outcome,onset_on\nCX1,LX1,occlusion,2031-02-10\n",
}
LAST = {
    "home_log corrected.csv": (
        "entry_id,line_id,done_at,kind,note\ney3,LX12,2031-01-07,flush,for the right one\n"
    )
}
OF_ONE = re.compile(rb"(?<![A-Z])[LCG]X1(?!\d)|555-0101|of one|ex[12]|lx1(?!\d)")
OF_OTHERS = ("kept of twelve", "refused of twelve", "555-0202", "for the right one")


def brought(store: Store, folder: Path, files: dict[str, str]) -> IngestSummary:
    folder.mkdir(exist_ok=True)
    paths = [folder / name for name in files]
    for path in paths:
        path.write_text(files[path.name])
    return ingest(store, paths, POLICY, received_at=NOW, ingested_at=NOW)


def fill(store: Store, tmp_path: Path) -> None:
    for number, files in enumerate((FIRST, FILES, LAST)):
        assert brought(store, tmp_path / str(number), files).faults == ()
    for family in ("FX1", "FX12"):
        agreed = "agreed of one" if family == "FX1" else "agreed"
        store.record_call(family, "N1", CallOutcome.REACHED, agreed, date(2031, 4, 9), NOW)
        store.people.note("N1", Access.OPENED_FAMILY, NOW, family_id=family)
    store.annotate(date(2031, 2, 1), "LX1 had a new pump, not LX12", "north", "P1", NOW)
    some = (("FX1", "FX12"), ("GX1", "GX12"))
    plan = SessionPlan(date(2031, 5, 1), None, None, None, ("flush",), ("E1",), *some)
    store.sessions.record([Change(plan)], "E1", NOW)


@pytest.fixture
def filled(store: Store, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Store:
    kept = tmp_path_factory.getbasetemp() / "family-to-delete.sqlite"
    made_once(store, kept, lambda: fill(store, tmp_path))
    return store


@pytest.fixture
def of_file(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    kept = tmp_path_factory.getbasetemp() / "family-to-delete.sqlite"
    with Store.open(f"sqlite:///{tmp_path}/store.sqlite") as opened:
        made_once(opened, kept, lambda: fill(opened, tmp_path))
        yield opened


def delete(store: Store, family: str = "FX1", *, shared: bool = False) -> None:
    store.delete_family(family, "command line", "asked for; account root", NOW, shared=shared)
    assert store.clean()


def every_cell(store: Store) -> bytes:
    """All that is in the tables, but for the access log."""
    with store._database.reading() as connection:
        rows = [
            str(tuple(row))
            for table in metadata.sorted_tables
            if table.name not in {"accesses", "sign_ins", "attempts"}
            for row in connection.execute(sa.select(table))
        ]
    return "\n".join(rows).encode()


def test_nothing_of_the_family_is_left_and_all_of_the_others(filled: Store) -> None:
    assert len(OF_ONE.findall(every_cell(filled))) > 20
    delete(filled)
    cells = every_cell(filled)
    assert OF_ONE.findall(cells) == []
    assert [word for word in OF_OTHERS if word.encode() not in cells] == []
    records = filled.records()
    assert records.lines["line_id"].tolist() == ["LX12"]
    assert records.home_log["entry_id"].tolist() == ["ey1", "ey3"]
    assert filled.sessions.known()["family_ids"].tolist() == ["FX12"]
    if filled._database.is_sqlite:
        path = Path(filled.place)
        data = b"".join(p.read_bytes() for p in (path, Path(f"{path}-wal")) if p.exists())
        assert OF_ONE.findall(data) == []
        assert OF_OTHERS[0].encode() in data


def test_the_chain_holds_and_counts_what_was_deleted(filled: Store) -> None:
    before = {one.table: one for one in filled.verify()}
    delete(filled)
    after = {one.table: one for one in filled.verify()}
    assert {one.difference for one in after.values()} == {None}
    gone = {t: before[t].rows - one.rows for t, one in after.items() if one.deleted}
    assert gone == {t: one.deleted for t, one in after.items() if one.deleted}
    assert gone["lines"] == 2
    assert gone["calls"] == gone["outcomes"] == gone["stays"] == 1
    assert filled.records().lines["line_id"].tolist() == ["LX12"]


def test_what_forbids_deleting_is_in_force_afterwards(filled: Store) -> None:
    delete(filled)
    for table in (
        "lines",
        "home_log",
        "refused",
        "deletions",
        "deleted_codes",
        "training_sessions",
    ):
        with (
            pytest.raises(sa.exc.DBAPIError, match="only ever added"),
            filled._database.changing_tables() as connection,
        ):
            connection.exec_driver_sql(f"DELETE FROM {table}").close()


def test_a_store_that_was_changed_is_not_deleted_from(of_file: Store) -> None:
    with of_file._database.changing_tables() as connection:
        from analysis.store.loading import without_triggers

        with without_triggers(connection, "lines"):
            connection.exec_driver_sql("UPDATE lines SET site = 'x' WHERE row = 2").close()
    with pytest.raises(StoreError, match="not as it was stored: row 2 of lines"):
        of_file.delete_family("FX1", "command line", "asked for", NOW)
    assert OF_ONE.search(every_cell(of_file))


def test_a_file_that_brings_the_family_again_is_not_stored(of_file: Store, tmp_path: Path) -> None:
    delete(of_file)
    later = {name: f"{text}\n" for name, text in {**FIRST, **FILES}.items()}
    again = brought(of_file, tmp_path / "again", later)
    assert OF_ONE.findall(every_cell(of_file)) == []
    assert sum("deleted on request" in note for note in again.notes) >= 7
    assert {t.read - t.stored - t.same_as_before - t.refused for t in again.tables} == {0}
    assert {one.difference for one in of_file.verify()} == {None}
    number = of_file.record_call(
        "FX12", "N1", CallOutcome.NO_ANSWER, None, None, NOW.replace(hour=11)
    )
    assert number > 2  # no number is used twice


def test_a_restored_backup_remembers_the_deletion(of_file: Store, tmp_path: Path) -> None:
    delete(of_file)
    of_file.backup(tmp_path / "after.zip")
    with Store.restored(f"sqlite:///{tmp_path}/new.sqlite", tmp_path / "after.zip") as new:
        assert new.was_deleted("FX1")
        assert not new.was_deleted("FX12")
        assert {one.difference for one in new.verify()} == {None}
        brought(new, tmp_path / "again", FIRST)
        assert OF_ONE.findall(every_cell(new)) == []


def test_what_another_family_shares_is_deleted_only_if_that_is_asked_for(
    of_file: Store, tmp_path: Path
) -> None:
    moved = {"lines again.csv": f"{HEAD}LX1,CX1,FX9,south,{END},\n"}
    later = datetime(2031, 4, 2, tzinfo=UTC)
    folder = tmp_path / "moved"
    folder.mkdir()
    (folder / "lines.csv").write_text(moved["lines again.csv"])
    ingest(of_file, folder, POLICY, received_at=later, ingested_at=later)
    with pytest.raises(StoreError, match="CX1, LX1 also belong to other families"):
        of_file.delete_family("FX1", "command line", "asked for", NOW)
    assert len(of_file.records().lines) == 2
    delete(of_file, shared=True)
    assert of_file.records().lines["line_id"].tolist() == ["LX12"]


def test_the_command_asks_shows_and_is_in_the_access_log(
    of_file: Store, run: Callable[..., tuple[int, str, str]]
) -> None:
    words = [
        "delete-family",
        "--store",
        f"sqlite:///{of_file.place}",
        "--reason",
        "asked by the family",
    ]
    assert run(*words, "FX3", "--yes")[0] == 3
    assert run(*words, "FX1")[0] != 0  # nobody typed the code again
    assert len(of_file.records().lines) == 2
    code, _, said = run(*words, "FX1", "--yes")
    assert code == 0
    assert "the family FX1 of north and south has these rows: 2 of lines" in said
    assert "backups made before still hold it" in said
    acts = of_file.people.accesses()
    act = acts[acts["what"] == "deleted_family"].iloc[0]
    assert (act["family_id"], act["who"]) == ("FX1", "command line")
    assert act["about"].startswith("asked by the family; account ")
    assert "was deleted before" in run(*words, "FX1", "--yes")[2]


def test_families_past_the_time_of_retention_are_listed() -> None:
    ended = pd.Series(["2020-02-29", "2019-01-01", "2020-01-01", ""]).replace("", None)
    removed = pd.to_datetime(ended)
    about = {"family_id": ["F1", "F1", "F2", "F3"], "site": ["north"] * 4, "removed_on": removed}
    lines = pd.DataFrame({**about, "left_on": removed.where(removed.isna())})
    found = past_retention(lines, 10, date(2030, 3, 1))
    assert found["family_id"].tolist() == ["F2", "F1"]
    assert past_retention(lines, 10, date(2030, 2, 28))["family_id"].tolist() == ["F2"]
    assert len(past_retention(lines.iloc[:0], 10, date(2030, 3, 1))) == 0


def test_the_rule_of_retention_is_in_the_policy() -> None:
    assert parse_policy("retention_years = 10", "p.toml").retention_years == 10
    assert shipped_policy().retention_years is None
    with pytest.raises(PolicyError, match="whole number of years"):
        parse_policy('retention_years = "ten"', "p.toml")
