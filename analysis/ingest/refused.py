"""How are refused rows returned to the people who can fix them?"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from itertools import chain, count
from pathlib import Path

import orjson
import pandas as pd

from analysis.files import write_whole
from analysis.ingest.heads import REFUSED_ROW, REFUSED_WHY
from analysis.ingest.near import NO_CODES, NearCodes
from analysis.ingest.sentences import fix, further_sentences, row_sentence, why
from analysis.store import Store
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW
from analysis.tables.printed import guarded


def write_back(store: Store, folder: Path) -> list[Path]:
    """Write refused rows as files that can be corrected and ingested again.

    Parameters
    ----------
    store : Store
        Whose list of refused rows is written.
    folder : Path
        Made if it is not there; files in it stay as they are.

    Returns
    -------
    list of Path
        One CSV file a table, such as ``home_log.csv``: whole rows under our heads, the number
        of the refused row in `refused_row`, the reason code and the sentence on how to
        fix it. Where a file of that name is there already, ``home_log-2.csv`` and so
        on. A row ingested again with ``refused_row`` takes the refused one off the list;
        with ``void`` set to yes it does only that. An empty list: nothing is refused.

    Raises
    ------
    OSError, FileError
        The folder can't be made or written to.
    """
    rows = store.refused()
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    written = []
    for table in INCOMING:
        of_table = rows[rows["table"] == table]
        if len(of_table):
            path = _free(folder, table)
            write_whole(path, as_file(of_table, table))
            written.append(path)
    return written


def listed(rows: pd.DataFrame, near: NearCodes = NO_CODES) -> pd.DataFrame:
    """Where each refused row is, what is wrong with it and how to fix it.

    Parameters
    ----------
    rows : DataFrame
        As `Store.refused` gives them.
    near : NearCodes
        Known codes, one of which may be suggested for a code that looks like it.

    Returns
    -------
    DataFrame
        One row a refused row: file, sheet, row, column, value, reason (its code) and fix, the
        sentences.
    """
    names = ["table", "column", "value", "reason", "further"]
    facts = rows[names].astype("object").replace({pd.NA: None})
    fixes = [
        f"{sentence[:1].upper()}{sentence[1:]}. {fix(*fact)}{near.suggestion(fact[2], fact[3])}"
        f"{further_sentences(fact[0], further)}"
        for *fact, further in facts.itertuples(index=False, name=None)
        for sentence in (why(*fact),)
    ]
    columns = ["file", "sheet", "row_number", "column", "value", "reason"]
    return rows[columns].rename(columns={"row_number": "row"}).assign(fix=fixes)


def _free(folder: Path, table: str) -> Path:
    """A name that is not taken: what somebody is fixing is not written over."""
    names = chain([f"{table}.csv"], (f"{table}-{n}.csv" for n in count(2)))
    return next(folder / name for name in names if not (folder / name).exists())


def heads_of(table: str, wholes: Sequence[Mapping[str, str]]) -> list[str]:
    """Headers under which rows of a table are corrected: ours, and their own."""
    ours = [c.name for c in (*INCOMING[table].columns, *ON_EVERY_ROW)]
    return ours + sorted({head for whole in wholes for head in whole} - set(ours))


def as_file(rows: pd.DataFrame, table: str) -> bytes:
    """The CSV file in which refused rows of one table are corrected; see `write_back`."""
    wholes: list[dict[str, str]] = [orjson.loads(text) for text in rows["row"]]
    heads = heads_of(table, wholes)
    text = io.StringIO(newline="")
    sheet = csv.writer(text)
    sheet.writerow([*map(guarded, heads), REFUSED_ROW, *REFUSED_WHY])
    for row, whole in zip(rows.itertuples(index=False), wholes, strict=True):
        cells = [guarded(whole.get(head, "")) for head in heads]
        sheet.writerow([*cells, row.refused_row, row.reason, guarded(_sentence(row, table))])
    # Marked as UTF-8, without which a spreadsheet program would take it for something else.
    return text.getvalue().encode("utf-8-sig")


def _sentence(row: object, table: str) -> str:
    """The sentence of a row of the list."""
    cells = {
        name: None if pd.isna(cell := getattr(row, name)) else str(cell)
        for name in ("sheet", "column", "value", "further")
    }
    return row_sentence(
        table,
        str(getattr(row, "file")),  # noqa: B009
        cells["sheet"],
        int(getattr(row, "row_number")),  # noqa: B009
        cells["column"],
        cells["value"],
        str(getattr(row, "reason")),  # noqa: B009
    ) + further_sentences(table, cells["further"])
