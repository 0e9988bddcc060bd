"""How do tables become a folder of files, all of them or none, the same bytes each time?"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from analysis.errors import UserError
from analysis.exports.catalogue import Table
from analysis.exports.records import as_incoming
from analysis.tables.columns import Column
from analysis.tables.kinds import Kind
from analysis.tables.printed import as_csv
from analysis.unfinished import unfinished_in
from analysis.vocabulary import As

DICTIONARY = ("table", "one_row_is", "column", "holds", "dtype", "unit", "meaning", "blank_means")
"""Columns of a data dictionary."""


class ExportError(UserError):
    """The folder can't be written: one sentence for a user."""


@dataclass(frozen=True)
class Written:
    """A file of the folder."""

    path: str
    rows: int
    sha256: str


_ARROW: Mapping[Kind, pa.DataType] = {
    Kind.TEXT: pa.string(),
    Kind.CODE: pa.dictionary(pa.int32(), pa.string()),
    Kind.CODES: pa.string(),
    Kind.DATE: pa.date32(),
    Kind.MONTH: pa.date32(),
    Kind.INSTANT: pa.timestamp("us", tz="UTC"),
    Kind.COUNT: pa.int64(),
    Kind.NUMBER: pa.float64(),
    Kind.FLAG: pa.bool_(),
}


def write_folder(
    folder: Path,
    tables: Mapping[str, Table],
    kind: As,
    about: Callable[[Sequence[Written]], str],
    about_name: str = "ABOUT.md",
) -> list[Written]:
    """Write tables, their dictionaries and a page about them to a new folder.

    Parameters
    ----------
    folder : Path
        Not there yet, or empty.
    tables : mapping of str to Table
        By path below the folder, without an ending; the last part names the table. A table of
        records (below ``records/``) is written as a file that can come in again.
    kind : As
        Kind of the files.
    about : callable
        The page's text, from the files of the tables.
    about_name : str
        The page's file.

    Returns
    -------
    list of Written
        The files of the tables.

    Raises
    ------
    ExportError
        Something is in the folder, or it can't be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ExportError(
            f"{folder} is there already and nothing is written over. Name a new folder in --write."
        )
    unfinished = unfinished_in(folder.absolute().parent)
    try:
        unfinished.mkdir(mode=0o700)
        written = [_write(unfinished, path, table, kind) for path, table in tables.items()]
        (unfinished / about_name).write_text(about(written), encoding="utf-8", newline="\n")
        if folder.is_dir():
            folder.rmdir()
        unfinished.rename(folder)
    except OSError as fault:
        raise ExportError(
            f"The folder {folder} can't be written ({fault.strerror}). Check that the folder it "
            "is in is there, that this account may write in it and that the disk isn't full."
        ) from None
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)
    return written


def without_times(folder: Path) -> None:
    """Set the times of a folder's files to 1970, so that they don't tell when it was made."""
    for path in (folder, *folder.rglob("*")):
        os.utime(path, (0, 0))


def _write(folder: Path, path: str, table: Table, kind: As) -> Written:
    if kind is As.CSV:
        table = as_incoming(table)
    file = folder / f"{path}.{kind}"
    file.parent.mkdir(exist_ok=True, mode=0o700)
    if kind is As.CSV:
        file.write_text(as_csv(table.frame), encoding="utf-8", newline="\n")
    else:
        pq.write_table(typed(table), file, compression="zstd")
    described = folder / "dictionary" / f"{file.stem}.csv"
    described.parent.mkdir(exist_ok=True, mode=0o700)
    described.write_text(as_csv(dictionary([table])), encoding="utf-8", newline="\n")
    digest = hashlib.sha256(file.read_bytes()).hexdigest()
    return Written(f"{path}.{kind}", len(table.frame), digest)


def typed(table: Table) -> pa.Table:
    """The frame as an Arrow table whose types are those of its catalogue entry."""
    columns = {}
    for column in table.entry.columns:
        cells, kind = table.frame[column.name], _ARROW[column.kind]
        if column.kind is Kind.INSTANT:
            cells = cells.dt.tz_localize("UTC")
        elif column.kind is Kind.CODE:
            cells = cells.astype("string").astype("category")
        columns[column.name] = pa.array(cells, from_pandas=True).cast(kind)
    return pa.table(columns)


def dictionary(tables: Iterable[Table]) -> pd.DataFrame:
    """Say of each column what it holds, in the words of the catalogue; see `DICTIONARY`."""
    rows = [
        (
            table.entry.name,
            table.entry.grain,
            column.name,
            _holds(column),
            str(column.dtype),
            column.unit or None,
            column.meaning,
            column.blank or "never blank",
        )
        for table in tables
        for column in table.entry.columns
    ]
    return pd.DataFrame(rows, columns=list(DICTIONARY), dtype="string")


def _holds(column: Column) -> str:
    if column.allowed:
        return f"{column.kind}: {' '.join(map(str, column.allowed))}"
    if column.low is not None:
        return f"{column.kind}: {column.low} to {column.high}"
    return str(column.kind)
