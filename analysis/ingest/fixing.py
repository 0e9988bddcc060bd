"""How is a single refused row fixed, without a file?"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import orjson

from analysis.ingest.heads import REFUSED_ROW
from analysis.ingest.profile import Profile, TableProfile, Tick
from analysis.ingest.raw import LogFile
from analysis.ingest.refused import heads_of
from analysis.ingest.run import ingest
from analysis.ingest.summary import TableCount
from analysis.policy import Policy
from analysis.store import Store
from analysis.tables.printed import guarded
from analysis.unfinished import temporary_folder


@dataclass(frozen=True)
class RowToFix:
    """A refused row: where it is from, what is wrong, and all its cells.

    `cells` has every header under which the row may be corrected, in order; blank cells are empty.
    `ticks` are the columns of its source that each mean a code, if the profile of the source
    is known.
    """

    number: int
    table: str
    file: str
    sheet: str | None
    row_number: int
    source: str
    column: str | None
    value: str | None
    reason: str
    cells: Mapping[str, str]
    ticks: tuple[Tick, ...] = ()
    further: str | None = None
    """What else is wrong, as stored."""

    @property
    def fixed_name(self) -> str:
        """The name under which the corrected row is stored as a file."""
        sheet = f" sheet {self.sheet}" if self.sheet else ""
        return f"{self.file}{sheet} row {self.row_number}, corrected"


def row_to_fix(
    store: Store, number: int, profiles: Mapping[str, Profile] | None = None
) -> RowToFix | None:
    """Look up a refused row, and read its ticks if the profile of its source is among those known.

    None: it is not (or no longer) on the list.
    """
    listed = store.refused()
    found = listed[(listed["refused_row"] == number).to_numpy(dtype=bool)]
    if found.empty:
        return None
    (row,) = found.to_dict("records")
    whole: dict[str, str] = orjson.loads(row["row"])
    table, source = str(row["table"]), str(row["source"])
    ticks = (profiles or {}).get(source, Profile()).table(table).ticks
    # Every tick of the source is there: what is blank was not checked.
    heads = list(dict.fromkeys([*heads_of(table, [whole]), *(tick.head for tick in ticks)]))
    return RowToFix(
        number=number,
        table=table,
        file=str(row["file"]),
        sheet=_text(row["sheet"]),
        row_number=int(row["row_number"]),
        source=source,
        column=_text(row["column"]),
        value=_text(row["value"]),
        reason=str(row["reason"]),
        cells={head: whole.get(head, "") for head in heads},
        ticks=tuple(ticks),
        further=_text(row["further"]),
    )


def _text(cell: object) -> str | None:
    return cell if isinstance(cell, str) else None


def fix_row(
    store: Store,
    row: RowToFix,
    cells: Mapping[str, str],
    policy: Policy,
    *,
    received_at: datetime,
    brought_by: str,
) -> TableCount:
    """Store a corrected row after all checks and remove the refused one from the list: both or neither.

    It is a file of one row, as if the row had been downloaded, corrected and ingested; it belongs
    to the source of the file that it was refused in.

    Parameters
    ----------
    store : Store
        Where it is stored.
    row : RowToFix
        The refused row.
    cells : mapping of head to text
        Its corrected cells; headers that the row does not have are ignored.
    policy : Policy
        As for `ingest`.
    received_at : datetime
        Receipt, if the row has none of its own; also the time of ingest.
    brought_by : str
        Code of who corrected it.

    Returns
    -------
    TableCount
        What became of it; a row with ``void`` set to yes is only removed from the list.

    Raises
    ------
    StillRefusedError
        The row cannot be used as it is now; nothing is stored.
    NotListedError
        The refused row is no longer on the list; nothing is stored.
    IngestError, StoreError
        As for `ingest`.
    """
    text = io.StringIO(newline="")
    sheet = csv.writer(text)
    sheet.writerow([*row.cells, REFUSED_ROW])
    sheet.writerow([*(guarded(cells.get(head, "")) for head in row.cells), row.number])
    with temporary_folder() as folder:
        path = folder / "corrected"
        path.write_bytes(text.getvalue().encode("utf-8"))
        summary = ingest(
            store,
            LogFile(path, row.fixed_name),
            policy,
            Profile(row.source, tables={row.table: TableProfile(ticks=row.ticks)}),
            row.table,
            received_at,
            ingested_at=received_at,
            brought_by=brought_by,
            fixing=row.number,
        )
    for fault in summary.faults:
        raise fault
    return summary.tables[0]
