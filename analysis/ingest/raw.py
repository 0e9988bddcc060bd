"""What is a batch of rows as the source wrote them, before any cell is read?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path, PurePath

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.heads import Heads
from analysis.ingest.reasons import Refusal

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Broken:
    """A row that is broken in the source itself: its place in the batch, the cell and why.

    `at` is the position of the column, None for the row as a whole; `surplus` are cells
    beyond the last head.
    """

    row: int
    at: int | None
    value: str
    reason: Refusal
    surplus: tuple[str, ...] = ()


@dataclass(frozen=True)
class Raw:
    """Rows of one sheet: text cells by position of the column, null where blank.

    `row_numbers` (int64, shape (n,)) count as a person does who looks at the file, from 1 and
    with the header rows. Outer spaces are gone. Rows without any cell are left out.
    """

    row_numbers: Ints
    cells: Mapping[int, pa.Array]
    broken: tuple[Broken, ...] = ()
    read_bytes: int = 0


@dataclass(frozen=True)
class Part:
    """One table in one sheet (or the whole) of a file; `batches` reads it from the start."""

    file: str
    sheet: str | None
    table: str
    heads: Heads
    batches: Callable[[], Iterator[Raw]]
    fixed: Mapping[str, str] = field(default_factory=dict)
    """Columns that are the same in all its rows."""
    of_sheet: str | None = None
    """Sheet of which it is one column; None: it is the whole sheet."""


@dataclass(frozen=True)
class LogFile:
    """A file to import: its path, and the name by which people know it.

    The two differ where a file is stored under another name; what is stored and shown, and what
    names the table, is `name`; only `path` is ever opened.
    """

    path: Path
    name: str
    fhir_others: tuple[LogFile, ...] = field(default=(), compare=False, repr=False)
    """Files of FHIR resources that are imported together with it, if it is one."""

    @classmethod
    def at(cls, path: Path) -> LogFile:
        """A file under its own name."""
        return cls(path, own_name(path))

    @property
    def stem(self) -> str:
        """The name without its ending."""
        return PurePath(self.name).stem

    @property
    def ending(self) -> str:
        """The ending with its dot, in small letters."""
        return PurePath(self.name).suffix.casefold()


def own_name(path: Path) -> str:
    """A file's own name, without its folder, as text that can be stored and shown."""
    return path.name.encode("utf-8", "backslashreplace").decode()


def tidy(cells: pa.Array) -> pa.Array:
    """Remove outer white space; what is then empty is blank (null)."""
    if not _has_outer_space(cells):
        return cells
    trimmed = pc.utf8_trim_whitespace(cells)
    return pc.if_else(pc.equal(pc.binary_length(trimmed), 0), pa.scalar(None, pa.string()), trimmed)


def _has_outer_space(cells: pa.Array) -> bool:
    """Whether a text may start or end with white space, or is empty and not null."""
    _, offsets, data = cells.buffers()
    bounds = np.frombuffer(offsets, np.int32)[cells.offset : cells.offset + len(cells) + 1]
    filled = bounds[1:] > bounds[:-1]
    if np.count_nonzero(filled) != len(cells) - cells.null_count:
        return True
    if data is None or not filled.any():
        return False
    text = np.frombuffer(data, np.uint8)
    for places in (bounds[:-1][filled], bounds[1:][filled] - 1):
        edge = text[places]
        if bool(((edge <= 32) | (edge >= 128)).any()):
            return True
    return False


def raw_rows(
    row_numbers: Ints, cells: Mapping[int, pa.Array], broken: Sequence[Broken], read_bytes: int = 0
) -> Raw:
    """Make a batch: tidy the cells and leave out rows that hold nothing."""
    tidied = {at: tidy(column) for at, column in cells.items()}
    blank = np.ones(len(row_numbers), np.bool_)
    for column in tidied.values():
        if column.null_count == 0:
            blank[:] = False
            break
        blank &= np.asarray(column.is_null())
    blank[[b.row for b in broken]] = False
    whole = Raw(row_numbers, tidied, tuple(broken), read_bytes)
    return without_rows(whole, blank) if blank.any() else whole


def without_footer(raw: Raw, patterns: Sequence[str]) -> Raw:
    """Leave out rows whose first filled cell fits a pattern with ``*``, in any case."""
    if not patterns or not len(raw.row_numbers) or not raw.cells:
        return raw
    first = pc.coalesce(*(raw.cells[at] for at in sorted(raw.cells)))
    texts = first.dictionary_encode()
    wanted = [pattern.casefold() for pattern in patterns]
    fits = [
        any(fnmatchcase(text.casefold(), pattern) for pattern in wanted)
        for text in texts.dictionary.to_pylist()
    ]
    which = np.asarray(texts.indices.fill_null(len(fits)))
    footer = np.array([*fits, False], np.bool_)[which]
    return without_rows(raw, footer) if footer.any() else raw


def without_rows(raw: Raw, gone: npt.NDArray[np.bool_]) -> Raw:
    """Leave out some rows."""
    if not gone.any():
        return raw
    retained = np.flatnonzero(~gone)
    taken = pa.array(retained)
    moved = np.cumsum(~gone) - 1
    return Raw(
        raw.row_numbers[retained],
        {at: column.take(taken) for at, column in raw.cells.items()},
        tuple(
            Broken(int(moved[b.row]), b.at, b.value, b.reason, b.surplus)
            for b in raw.broken
            if not gone[b.row]
        ),
        raw.read_bytes,
    )


def ragged_row(row: int, cells: Sequence[str], width: int) -> Broken | None:
    """A row with too few or too many cells; blank rows and blank cells at the end are allowed."""
    filled = max((at + 1 for at, cell in enumerate(cells) if cell.strip()), default=0)
    if not filled or len(cells) >= width >= filled:
        return None
    surplus = tuple(cells[width:filled])
    n = len(surplus) or width - len(cells)
    value = f"{n} cell{'s' * (n > 1)} {'more' if surplus else 'fewer'}"
    return Broken(row, None, value, Refusal.RAGGED_ROW, surplus)


def text_columns(rows: Sequence[Sequence[str]], width: int) -> dict[int, pa.Array]:
    """Columns of rows of text that all have the width; empty text is blank."""
    columns = zip(*rows, strict=True) if rows else ([] for _ in range(width))
    return {
        at: pa.array([cell or None for cell in column], pa.string())
        for at, column in enumerate(columns)
    }


def filled_joined(columns: Sequence[pa.Array], separator: str) -> pa.Array:
    """Filled cells of each row joined by a single character; null where none is filled.

    Examples
    --------
    >>> filled_joined([pa.array(["a", None]), pa.array(["b", None])], ";").to_pylist()
    ['a;b', None]
    """
    # The empty text in front keeps rows without any filled cell, which Arrow would leave out.
    led = pc.binary_join_element_wise("", *columns, separator, null_handling="skip")
    joined = pc.utf8_slice_codeunits(led, 1)
    return pc.if_else(pc.equal(pc.binary_length(led), 0), pa.scalar(None, pa.string()), joined)
