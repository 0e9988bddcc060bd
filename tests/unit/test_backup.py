"""A backup holds all of a store, and becomes a store again on either kind of database."""

from __future__ import annotations

import hashlib
import json
import stat
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import sqlalchemy as sa

from analysis import reports
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.reports import Copy
from analysis.snapshot import take
from analysis.store import Store, StoreError, backup, bulk, restore
from analysis.store.database import connect
from analysis.store.migrate import upgrade
from analysis.tables import INCOMING
from analysis.vocabulary import Access, CallOutcome, Role
from synthetic_data import generate_blocks, write_canonical
from tests.stored_rows import PLACES, file_info, new_database, put, refused, store, url

__all__ = ["store", "url"]

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
PASSWORD = "kettle orbit maple seven"  # invented, for tests

CAREGIVERS = """
received         | caregiver_id | family_id | relation | void | extra          | doubts
2031-03-01       | G1           | F1        | parent   |      | {"shoe": "41"} | other_family
2031-03-02       | G2           | F1        |          |      |                |
2031-03-03T10:30 | G1           | F1        | self     |      |                |
2031-03-04       | G2           |           |          | yes  |                |
"""
LOG = """
received   | entry_id | line_id | family_id | done_on    | done_at          | kind | note
2031-03-01 | E1       | L1      | F1        | 2031-02-28 |                  | note | two "words", and a comma
2031-03-01 |          | L1      | F1        | 2031-02-28 | 2031-02-28T08:15 | flush |
"""
G3 = """
received   | caregiver_id | family_id
2031-03-05 | G3           | F2
"""
REFUSED = """
row_number | column   | value    | key | raw   | row
4          | relation | neighbor | G9  | raw 1 | {"caregiver_id":"G9"}
7          |          |          |     | raw 2 | {"family_id":"F1"}
"""


def fill(opened: Store) -> None:
    """Something in every table of rows, people and calls."""
    put(opened, "caregivers", CAREGIVERS, 1)
    put(opened, "home_log", LOG, 2)
    with opened.writing(file_info(3)) as writer:
        writer.refuse(refused(REFUSED))
    put(
        opened,
        "caregivers",
        "received | caregiver_id | family_id | mends\n2031-03-05 | G9 | F1 | 1",
        4,
    )
    call = opened.record_call(
        "F1", "N1", CallOutcome.REACHED, "keep \\ it dry\nand call", date(2031, 3, 6), NOW
    )
    opened.undo_call(call, "N1", NOW)
    opened.record_call(
        "F1", "N1", CallOutcome.NO_ANSWER, None, date(2031, 3, 6), NOW + timedelta(hours=1)
    )
    opened.people.add("N1", PASSWORD, Role.MANAGER, NOW, by="command line", sites=["north"])
    assert opened.people.sign_in("N1", PASSWORD, "127.0.0.1", NOW).token


def tables_of(opened: Store) -> dict[str, list[dict[str, object]]]:
    """Rows of every table that is in the database, whether the program names it or not."""
    found = {}
    with opened._database.reading() as connection:
        there = sa.MetaData()
        there.reflect(connection)
        for name, table in there.tables.items():
            rows = bulk.fetch(connection, sa.select(*table.c)).to_pylist()
            found[name] = sorted(rows, key=repr)
    return found


@pytest.fixture(params=PLACES)
def elsewhere(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Address of a place to restore to, on each kind of database."""
    sqlite = f"sqlite:///{tmp_path}/restored.sqlite"
    return sqlite if request.param == "sqlite" else new_database()


@pytest.fixture
def other_kind(url: str, tmp_path: Path) -> str:
    """Address of a place to restore to, on the other kind of database where there is one."""
    if url.startswith("sqlite") and "postgresql" in PLACES:
        return new_database()
    return f"sqlite:///{tmp_path}/restored.sqlite"


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A backup of a small store on SQLite."""
    with Store.open(f"sqlite:///{tmp_path}/kept.sqlite") as opened:
        fill(opened)
        opened.backup(tmp_path / "kept.zip")
    return tmp_path / "kept.zip"


def test_a_restored_store_holds_every_row_of_every_table(
    store: Store, other_kind: str, tmp_path: Path
) -> None:
    fill(store)
    store.backup(tmp_path / "all.zip")
    before = tables_of(store)
    with Store.restored(other_kind, tmp_path / "all.zip") as again:
        after = tables_of(again)
        for name in before.keys() - backup.LEFT_OUT.keys():
            assert after[name] == before[name], name
        assert {name for name, rows in before.items() if rows} >= {
            "caregivers", "caregivers_keys", "home_log", "files", "refused", "refused_resolved",
            "calls", "users", "accesses", "changes",
        }  # fmt: skip
        assert after["sign_ins"] == after["attempts"] == []
        for name in INCOMING:
            left, right = getattr(store.records(), name), getattr(again.records(), name)
            pd.testing.assert_frame_equal(left, right, check_categorical=False)


def test_a_table_is_in_every_backup_or_it_is_said_why_not(store: Store) -> None:
    # Asked of the database, so that a table which only a migration names is not forgotten.
    there = tables_of(store).keys() - {"alembic_version"}
    kept = {table.name for table in backup.kept_tables()}
    assert there == kept | backup.LEFT_OUT.keys()
    assert not kept & backup.LEFT_OUT.keys()


def test_a_restored_store_goes_on_where_the_other_stopped(
    store: Store, other_kind: str, tmp_path: Path
) -> None:
    fill(store)
    store.backup(tmp_path / "all.zip")
    with Store.restored(other_kind, tmp_path / "all.zip") as again:
        assert put(again, "caregivers", CAREGIVERS, 5) == (0, 4)
        assert put(again, "caregivers", G3, 6) == (1, 0)
        assert again.records().caregivers["caregiver_id"].tolist() == ["G1", "G9", "G3"]
        assert again.people.sign_in("N1", PASSWORD, "127.0.0.1", NOW).token
        assert again.people.accesses()["what"].iloc[0] == Access.SIGNED_IN
        with (
            pytest.raises(sa.exc.DBAPIError, match="only ever added"),
            again._database.writing() as connection,
        ):
            connection.exec_driver_sql("DELETE FROM accesses")


def test_the_same_store_gives_the_same_bytes(kept: Path, tmp_path: Path, elsewhere: str) -> None:
    with Store.restored(elsewhere, kept) as again:
        again.backup(tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == kept.read_bytes()


def test_a_backup_is_of_one_moment_while_others_write(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(store)
    write_table, first = backup._write_table, backup.kept_tables()[0].name

    def with_somebody_else(connection, table, archive):
        part = write_table(connection, table, archive)
        if table.name == first:
            put(store, "caregivers", G3, 6)
        return part

    before = store.records().caregivers
    monkeypatch.setattr(backup, "_write_table", with_somebody_else)
    store.backup(tmp_path / "all.zip")
    assert len(store.records().caregivers) == len(before) + 1
    with Store.restored(f"sqlite:///{tmp_path}/r.sqlite", tmp_path / "all.zip") as again:
        assert again.records().caregivers.equals(before)


def test_long_tables_are_written_in_parts(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(backup, "ROWS_A_PART", 2)
    monkeypatch.setattr("analysis.store.blocks.MOST_ROWS", 3)
    fill(store)
    store.backup(tmp_path / "all.zip")
    with Store.restored(f"sqlite:///{tmp_path}/r.sqlite", tmp_path / "all.zip") as again:
        assert tables_of(again)["caregivers"] == tables_of(store)["caregivers"]
        assert len(tables_of(again)["blocks"]) > 2
        assert again.records().caregivers.equals(store.records().caregivers)


def test_a_backup_of_an_older_version_is_brought_to_this_one(
    tmp_path: Path, elsewhere: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = connect(f"sqlite:///{tmp_path}/old.sqlite", create=True)
    upgrade(old, "0001")
    with old.changing_tables() as connection:
        connection.exec_driver_sql(
            "INSERT INTO calls (row, family_id, made_by, made_at, made_on, reached, recheck_on)"
            " VALUES (1, 'F1', 'N1', 0, 0, 1, 2)"
        )
        there = sa.MetaData()
        there.reflect(connection)
    first = [
        there.tables[n] for n in sorted(there.tables) if n not in {"blocks", "alembic_version"}
    ]
    with monkeypatch.context() as patch:
        patch.setattr(backup, "kept_tables", lambda: first)
        patch.setattr(backup, "REVISION", "0001")
        backup.write(old, tmp_path / "old.zip")
    with Store.restored(elsewhere, tmp_path / "old.zip") as again:
        assert again.records().calls["family_id"].tolist() == ["F1"]
        assert again.people.all() == []
        assert put(again, "caregivers", CAREGIVERS, 1) == (4, 0)


def test_bytes_of_any_length_go_to_a_server_and_back(store: Store) -> None:
    cells = [b"", b"\x00\x01", bytes(range(256)), None]
    with store._database.writing() as connection:
        rows = pa.table({"n": pa.array(range(4)), "cell": pa.array(cells, pa.binary())})
        staged = bulk.stage(connection, "any_bytes", rows)
        found = bulk.fetch(connection, sa.select(*staged.c)).sort_by("n")
    assert found["cell"].to_pylist() == cells


def test_only_its_owner_may_read_a_backup_and_none_is_overwritten(kept: Path) -> None:
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    whole = kept.read_bytes()
    with Store.open(f"sqlite:///{kept.parent}/kept.sqlite") as opened:
        with pytest.raises(StoreError, match="is there already"):
            opened.backup(kept)
        with pytest.raises(StoreError, match="can't be written"):
            opened.backup(kept.parent / "none" / "copy.zip")
    assert kept.read_bytes() == whole
    assert not list(kept.parent.glob(".*"))


def repacked(path: Path, change: Callable[[str, bytes], bytes | None]) -> Path:
    """The archive with its files changed; None leaves one out."""
    made = path.with_name(f"changed-{path.name}")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(made, "w") as new:
        for name in old.namelist():
            data = change(name, old.read(name))
            if data is not None:
                new.writestr(name, data)
    return made


def saying(path: Path, **said: object) -> Path:
    """The archive, saying something else of itself."""

    def change(name: str, data: bytes) -> bytes:
        return (
            json.dumps({**json.loads(data), **said}).encode() if name == backup.CONTENTS else data
        )

    return repacked(path, change)


def without(path: Path, *, table: str) -> Path:
    """The archive without a table, which its contents do not name either."""
    with zipfile.ZipFile(path) as archive:
        tables = json.loads(archive.read(backup.CONTENTS))["tables"]
    return saying(path, tables=[t for t in tables if t["name"] != table])


def other_rows(path: Path) -> Path:
    """The archive with one table's file in place of another's, hashes set right."""
    with zipfile.ZipFile(path) as archive:
        said = json.loads(archive.read(backup.CONTENTS))["tables"]
        data = archive.read("calls.parquet")
    for part in said:
        if part["name"] == "users":
            part["sha256"] = hashlib.sha256(data).hexdigest()
    return saying(repacked(path, lambda n, d: data if n == "users.parquet" else d), tables=said)


def of_calls(path: Path, change: Callable[[pa.Table], pa.Table]) -> Path:
    """The archive with another table of calls, hashes set right."""
    with zipfile.ZipFile(path) as archive:
        said = json.loads(archive.read(backup.CONTENTS))["tables"]
        calls = pq.read_table(pa.BufferReader(archive.read("calls.parquet")))
    sink, changed = pa.BufferOutputStream(), change(calls)
    pq.write_table(changed, sink)
    data = bytes(sink.getvalue())
    for part in said:
        if part["name"] == "calls":
            part.update(sha256=hashlib.sha256(data).hexdigest(), rows=changed.num_rows)
    return saying(repacked(path, lambda n, d: data if n == "calls.parquet" else d), tables=said)


def with_calls(path: Path, column: str, cell: object, *, times: int = 1) -> Path:
    """The archive whose first call, so many times, has another cell; hashes set right."""

    def change(calls: pa.Table) -> pa.Table:
        rows = pa.concat_tables([calls.slice(0, 1)] * times)
        at, kind = rows.column_names.index(column), rows.schema.field(column).type
        cells = pa.array([cell], kind).dictionary_encode()
        cells = pa.DictionaryArray.from_arrays(pa.array([0] * times, pa.int32()), cells.dictionary)
        numbers = pa.array(range(1, times + 1), pa.int64())
        rows = rows.set_column(at, column, cells).set_column(0, "row", numbers)
        return rows if times > 1 else pa.concat_tables([rows.cast(calls.schema), calls.slice(1)])

    return of_calls(path, change)


def test_an_encrypted_backup_is_read_with_its_key_alone(kept: Path, tmp_path: Path) -> None:
    sealed, key, other = tmp_path / "all.age", tmp_path / "key", tmp_path / "other"
    with Store.open(f"sqlite:///{tmp_path}/kept.sqlite") as opened:
        opened.backup(sealed, key)
        opened.backup(tmp_path / "other.age", other)
    assert b"calls" not in sealed.read_bytes()
    assert stat.S_IMODE(key.stat().st_mode) == stat.S_IMODE(sealed.stat().st_mode) == 0o600
    place = f"sqlite:///{tmp_path}/again.sqlite"
    flipped = tmp_path / "flipped.age"
    data = sealed.read_bytes()
    flipped.write_bytes(data[:-9] + bytes([data[-9] ^ 1]) + data[-8:])
    for path, key_file, words in (
        (sealed, None, "is encrypted. Name its key file"),
        (sealed, other, "was not encrypted with the key"),
        (sealed, kept, "holds no key"),
        (flipped, key, "or it is damaged"),
        (kept, key, "is not encrypted, so anybody may have made it"),
        (tmp_path / "none.age", key, "can't be read"),
    ):
        with pytest.raises(StoreError, match=words):
            Store.restored(place, path, key_file)
    with Store.restored(place, sealed, key) as again:
        assert len(again.records().home_log) == 2


def test_a_backup_is_restored_by_the_names_of_its_columns(
    kept: Path, elsewhere: str, tmp_path: Path
) -> None:
    # A column that a migration adds is last in the database and in its place in the catalogue.
    turned = of_calls(kept, lambda table: table.select(table.column_names[::-1]))
    with Store.restored(elsewhere, turned) as again:
        whole = again.all_calls()
        assert set(whole["called_by"]) == {"N1"}
        assert whole["agreed"].iloc[0] == "keep \\ it dry\nand call"
    fewer = of_calls(kept, lambda table: table.drop_columns("extra"))
    with Store.restored(f"sqlite:///{tmp_path}/fewer.sqlite", fewer) as again:
        assert again.all_calls()["called_by"].equals(whole["called_by"])


def faulty(kept: Path) -> Iterator[tuple[str, Path, str]]:
    """What can be wrong with a file, the file, and the words that tell."""
    whole = kept.read_bytes()
    cut = kept.with_name("cut.zip")
    for length in (0, 1, 1000, len(whole) // 2, len(whole) - 1):
        cut.write_bytes(whole[:length])
        yield f"cut at {length}", cut, "is no backup of linedays"
    cut.write_bytes(whole[:200] + bytes([whole[200] ^ 1]) + whole[201:])
    yield "a bit flipped", cut, "is damaged"
    cut.write_text("line_id,child_id\nL1,C1\n")
    yield "a CSV file", cut, "is no backup of linedays"
    with zipfile.ZipFile(cut, "w") as other:
        other.writestr("letter.txt", "dear")
    yield "another archive", cut, "is no backup of linedays"
    yield "another program's contents", saying(kept, what="else"), "is no backup of linedays"
    yield "a newer shape", saying(kept, format=2), "newer version of linedays"
    yield "a newer schema", saying(kept, schema="9999"), "newer version of linedays"
    yield "a table not named", without(kept, table="calls"), "is damaged"
    yield "odd contents", saying(kept, tables=[{"name": "calls"}]), "is damaged"
    yield "a file lost", repacked(kept, lambda n, d: None if n == "calls.parquet" else d), "damaged"
    yield "a file changed", repacked(kept, lambda n, d: d[:-9] if "calls" in n else d), "damaged"
    yield "another table's rows", other_rows(kept), "that this version of linedays does not know"
    yield (
        "a needed column left out",
        of_calls(kept, lambda t: t.drop_columns("received_at")),
        "damaged",
    )
    cut.write_bytes(
        whole.replace(b"PK\x01\x02\x14\x03\x14\x00\x00", b"PK\x01\x02\x14\x03\x14\x00\x01")
    )
    yield "locked with a password", cut, "is no backup of linedays"
    yield "a word of no vocabulary", with_calls(kept, "outcome", "shouted"), "what linedays never"
    yield "a day that is none", with_calls(kept, "recheck_on", 10**15), "is damaged"
    yield "another word", with_calls(kept, "agreed", "nothing"), "of calls are not as they were"
    longest = with_calls(kept, "agreed", "x" * (1 << 20), times=300)
    assert longest.stat().st_size < 1_000_000
    yield "cells without end", longest, "unpacks to far more"
    with zipfile.ZipFile(cut, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(backup.CONTENTS, b" " * 10_000_000)
    yield "an archive that grows", cut, "is no backup of linedays"
    yield "not there", kept.with_name("gone.zip"), "No such file"


def test_a_file_that_is_no_whole_backup_restores_nothing(kept: Path, elsewhere: str) -> None:
    for what, path, words in faulty(kept):
        with pytest.raises(StoreError) as told:
            Store.restored(elsewhere, path)
        assert words in str(told.value), what
        with pytest.raises(StoreError, match="There is no store|can't be opened"):
            Store.open(elsewhere, create=False)
    with Store.restored(elsewhere, kept) as made:
        assert len(made.records().home_log) == 2


def test_whatever_bytes_are_changed_a_sentence_tells_or_the_store_is_whole(kept: Path) -> None:
    whole, draw = kept.read_bytes(), np.random.default_rng(7)
    other, told = kept.with_name("other.zip"), 0
    for number in range(120):
        data = bytearray(whole)
        first = 0 if number % 3 else len(data) - 4500  # the archive's own lists are at its end
        for at in draw.integers(first, len(data), draw.integers(1, 5)):
            data[at] = draw.integers(256)
        other.write_bytes(data)
        try:
            restore.checked(other)
        except StoreError:
            told += 1
    assert 100 < told <= 120


def test_a_place_with_tables_is_left_as_it_is(store: Store, url: str, kept: Path) -> None:
    put(store, "caregivers", G3, 6)
    before = tables_of(store)
    with pytest.raises(StoreError, match="holds tables already"):
        Store.restored(url, kept)
    assert tables_of(store) == before


def test_what_is_checked_is_what_is_restored(kept: Path, tmp_path: Path) -> None:
    contents = restore.checked(kept)
    rows = {part.name: part.rows for part in contents.tables}
    assert (rows["caregivers"], rows["home_log"], rows["calls"], rows["users"]) == (5, 2, 3, 1)


def test_a_restored_store_gives_the_same_list_and_the_same_paper(tmp_path: Path) -> None:
    policy, today = shipped_policy(), date(2031, 3, 10)
    told = []
    with Store.open(f"sqlite:///{tmp_path}/store.sqlite") as opened:
        for path in write_canonical(generate_blocks(4, seed=3, until=today), tmp_path, "csv"):
            ingest(opened, [path], policy, received_at=NOW)
        listed = take(opened, policy, today).calls.families["family_id"]
        opened.record_call(listed.iloc[0], "N1", CallOutcome.REACHED, None, date(2031, 3, 12), NOW)
        opened.backup(tmp_path / "all.zip")
    for place in ("store", "restored"):
        if place == "restored":
            Store.restored(f"sqlite:///{tmp_path}/restored.sqlite", tmp_path / "all.zip").close()
        with Store.open(f"sqlite:///{tmp_path}/{place}.sqlite", create=False) as opened:
            families = take(opened, policy, today).calls.families
            data = reports.gather(opened, policy, reports.week("2031-W09"), None, today)
        report = reports.REPORTS[Role.PREVENTION](data, Copy.OUTSIDE)
        told.append((families.to_csv(), reports.html_file(report)))
    assert told[0] == told[1]
    assert len(listed)
