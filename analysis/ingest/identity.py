"""When are two rows the same row, and when is their content the same?

The **key** identifies what a row is about; the **content** is all of it except when it was
received, from which file and as which row. Content is the row's canonical text: for each
filled column, in alphabetical order of the names, its name, the byte 0x1d and its value, joined
by the byte 0x1f. A blank column leaves no trace, so a column that the program learns later changes
neither the key nor the content of a row that does not fill it. No cell may hold these bytes
(`translate.CONTROL`), so two different rows never have the same text.

- An entry of the home log with an `entry_id` is keyed by it, a registry row by its key columns.
- An entry without `entry_id` is keyed by its content.
- Of an entry counts the line as given, or the family where no line is given, and the moment, or
  the day where no moment is given: what the registry adds may change, the entry does not.
- Columns that the program does not know count together as one column, `extra`, a JSON object under
  the heads of the file.

Keys and contents are blake2b hashes of 128 bits. The content of a row that voids its key is
the hash of its text with a mark at the end.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from hashlib import blake2b

import numpy as np
import numpy.typing as npt
import orjson
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.moments import NONE
from analysis.ingest.raw import filled_joined
from analysis.tables.incoming import INCOMING

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

HASH_BYTES = 16
_BETWEEN, _IS = b"\x1f", b"\x1d"
_VOID = b"\x1fvoid"
_EMPTY = blake2b(digest_size=HASH_BYTES)


def canonical(column: pa.Array | Ints) -> pa.Array:
    """A column's canonical bytes: text as it is, whole numbers in digits, null where blank."""
    if isinstance(column, np.ndarray):
        column = pa.array(column, mask=column == NONE).cast(pa.string())
    return column.cast(pa.binary())


def text_of_rows(columns: Mapping[str, pa.Array]) -> list[bytes]:
    r"""Canonical text of each row, from its canonical columns by name.

    Examples
    --------
    >>> kind, note = pa.array([b"flush"]), pa.array([None], pa.binary())
    >>> text_of_rows({"note": note, "kind": kind})
    [b'kind\x1dflush']
    """
    names = sorted(name for name, cells in columns.items() if cells.null_count < len(cells))
    n = max((len(cells) for cells in columns.values()), default=0)
    # One part a column: nothing where it is blank, else a separator, its name and its value.
    parts = [
        pc.binary_replace_slice(columns[name], 0, 0, _BETWEEN + name.encode() + _IS)
        for name in names
    ]
    together = pc.binary_join_element_wise(
        pa.array([b""] * n, pa.binary()),
        *parts,
        pa.scalar(b""),
        null_handling="replace",
        null_replacement=b"",
    )
    # Without the separator in front of the first one.
    return pc.binary_replace_slice(together, 0, len(_BETWEEN), b"").to_pylist()


def _text_of_keys(columns: Sequence[pa.Array]) -> list[bytes]:
    """Canonical text of the key of each row; where a key column is blank, it means nothing."""
    if len(columns) == 1:
        return columns[0].fill_null(b"").to_pylist()
    return pc.binary_join_element_wise(
        *columns, pa.scalar(_BETWEEN), null_handling="replace", null_replacement=b""
    ).to_pylist()


def digests(rows: Iterable[bytes]) -> list[bytes]:
    """128-bit hashes of rows."""
    found = []
    for row in rows:  # a copy of the empty hash takes a third less time than a new one
        row_hash = _EMPTY.copy()
        row_hash.update(row)
        found.append(row_hash.digest())
    return found


def hash_array(hashes: Sequence[bytes]) -> pa.Array:
    """Hashes as an Arrow column."""
    together = pa.py_buffer(b"".join(hashes))
    return pa.FixedSizeBinaryArray.from_buffers(
        pa.binary(HASH_BYTES), len(hashes), [None, together]
    )


def entry_keys(entry_id: pa.Array, contents: Sequence[bytes]) -> pa.Array:
    """Keys of entries of the home log: the sender's own number, else the content."""
    numbered = np.flatnonzero(np.asarray(entry_id.is_valid()))
    keys = list(contents)
    names = entry_id.take(pa.array(numbered)).cast(pa.binary()).to_pylist()
    for at, name in zip(numbered.tolist(), digests(b"entry\x1f" + n for n in names), strict=True):
        keys[at] = name
    return hash_array(keys)


def registry_keys(columns: Sequence[pa.Array]) -> pa.Array:
    """Keys of registry rows from their canonical key columns; null where one of them is blank."""
    complete = np.ones(len(columns[0]), np.bool_)
    for column in columns:
        complete &= np.asarray(column.is_valid())
    return only_where(hash_array(digests(_text_of_keys(columns))), complete)


def only_where(keys: pa.Array, where: Mask) -> pa.Array:
    """Keys, null in the other rows."""
    if where.all():
        return keys
    return pc.if_else(pa.array(where), keys, pa.scalar(None, keys.type))


def stored_keys(table: str, rows: pa.Table) -> pa.Array:
    """Keys under which rows were stored; null where they cannot be found from the row.

    Parameters
    ----------
    table : str
        Incoming table.
    rows : pyarrow.Table
        `content`, `void` and the table's key columns.
    """
    columns = [rows[name].combine_chunks() for name in INCOMING[table].key]
    if table != "home_log":
        return registry_keys([column.cast(pa.string()).cast(pa.binary()) for column in columns])
    keys = entry_keys(columns[0], rows["content"].to_pylist())
    # The content of a voided entry is not its key.
    voided = np.asarray(rows["void"]) != 0
    return only_where(keys, ~voided | np.asarray(columns[0].is_valid()))


def with_void(rows: Sequence[bytes], hashes: Sequence[bytes], void: Mask) -> list[bytes]:
    """Content hashes: of rows that void their key another one than of the row itself."""
    contents = list(hashes)
    for at in np.flatnonzero(void).tolist():
        contents[at] = blake2b(rows[at] + _VOID, digest_size=HASH_BYTES).digest()
    return contents


def given_up(keys: Iterable[bytes]) -> list[bytes]:
    """Contents of rows that void keys which only an earlier reading of a file gave."""
    return digests(key + b"\x1fread in another way" for key in keys)


def extra_json(extra: Mapping[str, pa.Array], n: int) -> pa.Array:
    """One JSON object a row of the filled cells of further columns; null where none is filled.

    Examples
    --------
    >>> extra_json({"Mood": pa.array(["good", None])}, 2).to_pylist()
    ['{"Mood":"good"}', None]
    """
    parts = []
    for head in sorted(extra):
        name = orjson.dumps(head).decode()
        quoted = _json_text(extra[head])
        parts.append(pc.binary_join_element_wise(f"{name}:", quoted, ""))
    if not parts:
        return pa.nulls(n, pa.string())
    return pc.binary_join_element_wise("{", filled_joined(parts, ","), "}", "")


def _json_text(cells: pa.Array) -> pa.Array:
    """Each text as a JSON string."""
    if pc.any(pc.match_substring_regex(cells, r'["\\\x00-\x1f]')).as_py():
        distinct = cells.dictionary_encode()
        texts = [orjson.dumps(t).decode() for t in distinct.dictionary.to_pylist()]
        return pa.array(texts, pa.string()).take(distinct.indices)
    return pc.binary_join_element_wise('"', cells, '"', "")
