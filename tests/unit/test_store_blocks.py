"""Blocks repeat the stored rows column by column: all of them, once, and in few pieces."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pytest
import sqlalchemy as sa

from analysis.store import Store, StoreError, blocks, bulk
from analysis.store.database import open_database
from analysis.store.schema import blocks as table_of_blocks
from tests.stored_rows import accepted, file_info, put, store, url

__all__ = ["store", "url"]

TEN = "received | child_id | from_on | place\n" + "\n".join(
    f"2031-03-01 | C{n} | 2031-02-{n + 1:02d} | {'hospital' if n % 3 else ''}" for n in range(10)
)


def lengths(address: str) -> list[int]:
    """Rows of each block of the stays."""
    query = sa.select(table_of_blocks.c.n_rows).where(table_of_blocks.c.table_name == "stays")
    with open_database(address, create=False).reading() as connection:
        return list(connection.scalars(query.order_by(table_of_blocks.c.first_row)))


def test_many_small_files_leave_few_blocks(store: Store, url: str) -> None:
    for n in range(40):
        put(store, "stays", f"received | child_id | from_on\n2031-03-01 | C{n} | 2031-02-01", n)
    found = lengths(url)
    assert sum(found) == 40
    assert len(found) <= 6
    assert store.records().stays["child_id"].tolist() == [f"C{n}" for n in range(40)]


def test_a_long_batch_is_cut_into_blocks(
    store: Store, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(blocks, "MOST_ROWS", 4)
    put(store, "stays", TEN)
    assert lengths(url) == [4, 4, 2]
    stays = store.records().stays
    assert stays["child_id"].tolist() == [f"C{n}" for n in range(10)]
    assert stays["place"].isna().tolist() == [n % 3 == 0 for n in range(10)]


def test_rows_known_before_are_in_no_block(store: Store, url: str) -> None:
    put(store, "stays", TEN, 1)
    put(store, "stays", TEN, 2)
    assert lengths(url) == [10]


def test_a_file_that_fails_leaves_no_block(store: Store, url: str) -> None:
    put(store, "stays", TEN, 1)
    with pytest.raises(KeyboardInterrupt), store.writing(file_info(2)) as writer:  # noqa: PT012
        writer.add("stays", accepted("stays", TEN.replace("| C", "| D")))
        raise KeyboardInterrupt
    assert lengths(url) == [10]


def test_a_column_added_later_is_blank_in_the_blocks_of_before(store: Store, url: str) -> None:
    put(store, "stays", TEN)
    opened = open_database(url, create=False)
    with opened.changing_tables() as connection:
        rows = blocks.read(connection, "stays", lambda rows: rows)
        without = blocks.packed(rows.drop_columns(["place"]))
        connection.execute(sa.update(table_of_blocks).values(packed=without))
    stays = store.records().stays
    assert stays["place"].isna().all()
    assert stays["child_id"].tolist() == [f"C{n}" for n in range(10)]


@pytest.mark.parametrize("at", [0, 40, -9])
def test_a_block_with_flipped_bits_is_named_as_damage(store: Store, url: str, at: int) -> None:
    put(store, "stays", TEN)
    with open_database(url, create=False).changing_tables() as connection:
        packed = bytearray(connection.scalar(sa.select(table_of_blocks.c.packed)))
        packed[at] ^= 0xFF
        connection.execute(sa.update(table_of_blocks).values(packed=bytes(packed[:at] or packed)))
    with pytest.raises(StoreError, match="is damaged"):
        store.records()


def _twice_the_first(rows: pa.Table) -> pa.Table:
    return rows.take([0, 0, *range(2, rows.num_rows)])


def _words_past_the_list(rows: pa.Table) -> pa.Table:
    """Cells that name words behind the end of their list: nothing may be read there."""
    places = pa.array(range(99, 99 + rows.num_rows), pa.int32())
    words = pa.DictionaryArray.from_arrays(places, pa.array(["hospital"]), safe=False)
    return rows.set_column(rows.column_names.index("child_id"), "child_id", words)


def _another_name(rows: pa.Table) -> pa.Table:
    return rows.rename_columns(["plade" if n == "place" else n for n in rows.column_names])


def _another_type(rows: pa.Table) -> pa.Table:
    at = rows.column_names.index("received_at")
    return rows.set_column(at, "received_at", rows["received_at"].cast(pa.uint64()))


@pytest.mark.parametrize(
    "damage",
    [_twice_the_first, _words_past_the_list, _another_name, _another_type, lambda rows: rows[:9]],
)
def test_a_block_that_unpacks_to_other_rows_is_named_as_damage(
    store: Store, url: str, damage: Callable[[pa.Table], pa.Table]
) -> None:
    put(store, "stays", TEN)
    with open_database(url, create=False).changing_tables() as connection:
        rows = blocks.read(connection, "stays", lambda rows: rows)
        sink = pa.BufferOutputStream()
        changed = damage(rows)
        with pa.ipc.new_stream(sink, changed.schema) as stream:
            stream.write_table(changed)
        connection.execute(sa.update(table_of_blocks).values(packed=bytes(sink.getvalue())))
    with pytest.raises(StoreError, match="is damaged"):
        store.records()


def test_a_name_in_a_block_that_is_no_text_is_named_as_damage(store: Store, url: str) -> None:
    put(store, "stays", TEN)
    with open_database(url, create=False).changing_tables() as connection:
        rows = blocks.read(connection, "stays", lambda rows: rows)
        sink = pa.BufferOutputStream()
        with pa.ipc.new_stream(sink, rows.schema) as stream:
            stream.write_table(rows)
        changed = bytes(sink.getvalue()).replace(b"place", b"pla\xe5e")
        connection.execute(sa.update(table_of_blocks).values(packed=changed))
    with pytest.raises(StoreError, match="is damaged"):
        store.records()


def test_a_text_that_is_not_utf8_is_named_as_damage(tmp_path: Path) -> None:
    opened = open_database(f"sqlite:///{tmp_path / 'a.sqlite'}", create=True)
    with pytest.raises(StoreError, match="is damaged"), opened.reading() as connection:
        connection.exec_driver_sql("SELECT CAST(x'61e5' AS TEXT)").all()
    with pytest.raises(StoreError, match="is damaged"), opened.reading() as connection:
        connection.exec_driver_sql("SELECT CAST(x'61e5' AS TEXT)").first()


def test_a_cell_of_another_type_than_its_column_is_named_as_damage(tmp_path: Path) -> None:
    numbers = sa.Table("numbers", sa.MetaData(), sa.Column("number", sa.BigInteger))
    many = (
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 3000)"
        " SELECT i FROM n UNION ALL SELECT 'one'"
    )
    opened = open_database(f"sqlite:///{tmp_path / 'a.sqlite'}", create=True)
    with opened.changing_tables() as connection:
        connection.exec_driver_sql("CREATE TABLE numbers (number BIGINT)").close()
        connection.exec_driver_sql(f"INSERT INTO numbers {many}").close()
    with pytest.raises(StoreError, match="is damaged"), opened.reading() as connection:
        bulk.fetch(connection, sa.select(numbers))
