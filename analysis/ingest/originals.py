"""Which cells of a file are read as something other than what is written in them?

The cells of our own form are stored as they are. A clinic's own dates, numbers, words and ticks are
not, so what was written is stored with the rows and can be shown next to the reading.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.checked import Checked
from analysis.ingest.moments import ISO_STYLE
from analysis.ingest.profile import Tick
from analysis.ingest.translate import YES, meaning_of
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind
from analysis.vocabulary import NOTHING_SEEN

_NO_TEXT = pa.scalar(None, pa.string())

WRITTEN_AS_THEY_ARE = frozenset({Kind.DATE, Kind.MONTH, Kind.INSTANT})
"""In ISO form their text and their reading are the same to a reader."""


def originals(checked: Checked) -> list[pa.Table]:
    """The cells of usable rows that differ from their reading.

    Parameters
    ----------
    checked : Checked
        A batch.

    Returns
    -------
    list of pyarrow.Table
        Each with ``row_number`` and one column of text for each column of the file that has such
        cells, named by our column and the file's head, with a line break between; null where text
        and reading are the same. A row may be in several of them.
    """
    heads = checked.source.part.heads
    is_iso = checked.source.profile.dates == ISO_STYLE
    columns = {column.name: column for column in INCOMING[heads.table].columns}
    found: dict[str, pa.Array] = {}
    for at, name in heads.columns.items():
        if name in columns:
            different = _different(checked, at, columns[name].name, columns[name].kind, is_iso)
            if different is not None:
                found[f"{name}\n{heads.written[at]}"] = different
    for at, name in heads.times.items():
        found[f"{name}\n{heads.written[at]}"] = checked.raw.cells[at]
    tables = [
        _of_rows(checked, np.flatnonzero(checked.faults.usable), found),
        *(_ticked(checked, column) for column in {tick.column for tick in heads.ticks.values()}),
    ]
    return [table for table in tables if table.num_columns > 1 and table.num_rows]


def _of_rows(
    checked: Checked, rows: npt.NDArray[np.intp], columns: Mapping[str, pa.Array]
) -> pa.Table:
    """Some rows of columns."""
    is_all = len(rows) == len(checked)
    taken = columns if is_all else {name: cells.take(rows) for name, cells in columns.items()}
    return _table(checked, rows, taken)


def _table(
    checked: Checked, rows: npt.NDArray[np.intp], columns: Mapping[str, pa.Array]
) -> pa.Table:
    filled = {name: cells for name, cells in columns.items() if cells.null_count < len(cells)}
    return pa.table({"row_number": pa.array(checked.raw.row_numbers[rows]), **filled})


def _means_yes(word: str, tick: Tick) -> bool:
    return meaning_of(word, tick) == YES


def _ticked(checked: Checked, column: str) -> pa.Table:
    """The cells of columns of ticks that mean yes, in the few rows that have any."""
    read = checked.accepted[column]
    has_any = pc.not_equal(read, NOTHING_SEEN).fill_null(False)
    rows = np.flatnonzero(np.asarray(has_any) & checked.faults.usable)
    found = {}
    for at, tick in checked.source.part.heads.ticks.items():
        if tick.column == column:
            cells = checked.raw.cells[at].take(rows)
            yes = [word for word in pc.unique(cells).to_pylist() if word and _means_yes(word, tick)]
            ticked = pc.is_in(cells, pa.array(yes, pa.string()))
            found[f"{column}\n{tick.head}"] = pc.if_else(ticked, cells, _NO_TEXT)
    return _table(checked, rows, found)


def _different(checked: Checked, at: int, name: str, kind: Kind, is_iso: bool) -> pa.Array | None:
    """Cells of a column where they are not the reading; None: nowhere."""
    cells = checked.raw.cells[at]
    if kind in WRITTEN_AS_THEY_ARE:
        return None if is_iso else cells
    read = checked.accepted[name]
    if read.type == cells.type and read.equals(pa.chunked_array([cells])):
        return None
    same = pc.equal(cells, read.cast(pa.string())).combine_chunks().fill_null(False)
    if pc.all(pc.or_(same, cells.is_null())).as_py():
        return None
    return pc.if_else(same, _NO_TEXT, cells)
