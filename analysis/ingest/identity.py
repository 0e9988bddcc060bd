"""When are two rows the same row, and when do they say the same?

The key names what a row is about, the content is all it says but when, from which file and
as which row it came. Both are blake2b of the columns' canonical text: the parts are joined by a
character that no cell may hold, a blank is another such character, so that no two different
rows are written alike.
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

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

HASH_BYTES = 16
_BETWEEN, _BLANK = b"\x1f", b"\x1e"
_VOID = b"\x1fvoid"


def canonical(column: pa.Array | Ints) -> pa.Array:
    """A column's canonical bytes: text as it is, whole numbers in digits, null where blank."""
    if isinstance(column, np.ndarray):
        column = pa.array(column, mask=column == NONE).cast(pa.string())
    return column.cast(pa.binary())


def written(columns: Sequence[pa.Array]) -> list[bytes]:
    """The rows of some canonical columns, each as one unambiguous run of bytes."""
    if len(columns) == 1:
        return columns[0].fill_null(_BLANK).to_pylist()
    return pc.binary_join_element_wise(
        *columns, pa.scalar(_BETWEEN), null_handling="replace", null_replacement=_BLANK
    ).to_pylist()


def digests(rows: Iterable[bytes]) -> list[bytes]:
    """128-bit hashes of rows."""
    return [blake2b(row, digest_size=HASH_BYTES).digest() for row in rows]


def hash_array(hashes: Sequence[bytes]) -> pa.Array:
    """Hashes as an Arrow column."""
    together = pa.py_buffer(b"".join(hashes))
    return pa.FixedSizeBinaryArray.from_buffers(
        pa.binary(HASH_BYTES), len(hashes), [None, together]
    )


def with_void(rows: Sequence[bytes], hashes: Sequence[bytes], void: Mask) -> list[bytes]:
    """Content hashes: of rows that withdraw their key another one than of the row itself."""
    contents = list(hashes)
    for at in np.flatnonzero(void).tolist():
        contents[at] = blake2b(rows[at] + _VOID, digest_size=HASH_BYTES).digest()
    return contents


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
