"""How is one refused row mended by itself, without a file of one's own?"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import orjson

from analysis.ingest.heads import MENDS
from analysis.ingest.profile import Profile, TableProfile, Tick
from analysis.ingest.raw import LogFile
from analysis.ingest.refused import guarded, heads_of
from analysis.ingest.run import ingest
from analysis.ingest.summary import TableCount
from analysis.policy import Policy
from analysis.store import Store


@dataclass(frozen=True)
class ToMend:
    """A refused row as it waits: where it is from, what is wrong, and all its cells.

    `cells` has every head under which the row may be mended, in order; blank cells are empty.
    `ticks` are the columns of its source that stand for a code, as far as the source's profile
    is known here.
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

    @property
    def mended_name(self) -> str:
        """The name under which the mended row is stored as a file."""
        sheet = f" sheet {self.sheet}" if self.sheet else ""
        return f"{self.file}{sheet} row {self.row_number}, mended"


def row_to_mend(
    store: Store, number: int, profiles: Mapping[str, Profile] | None = None
) -> ToMend | None:
    """Look up a refused row, and read its ticks if the profile of its source is among those known.

    None: it is not on the list (any more).
    """
    listed = store.refused()
    found = listed[(listed["refused_row"] == number).to_numpy(dtype=bool)]
    if found.empty:
        return None
    (row,) = found.to_dict("records")
    whole: dict[str, str] = orjson.loads(row["row"])
    table, source = str(row["table"]), str(row["source"])
    ticks = (profiles or {}).get(source, Profile()).table(table).ticks
    # Every tick of the source is there: what is blank was not looked at.
    heads = list(dict.fromkeys([*heads_of(table, [whole]), *(tick.head for tick in ticks)]))
    return ToMend(
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
    )


def _text(cell: object) -> str | None:
    return cell if isinstance(cell, str) else None


def mend_row(
    store: Store,
    row: ToMend,
    cells: Mapping[str, str],
    policy: Policy,
    *,
    received_at: datetime,
    brought_by: str,
) -> TableCount:
    """Take a mended row in with all checks, and its refused one off the list, both or neither.

    It is a file of one row, as if the row had been written back, mended and ingested; it belongs
    to the source of the file that it was refused in.

    Parameters
    ----------
    store : Store
        Where it goes.
    row : ToMend
        The refused row.
    cells : mapping of head to text
        Its cells as mended; heads that the row does not have are passed over.
    policy : Policy
        As for `ingest`.
    received_at : datetime
        Receipt, where the row does not tell its own; and the time of ingest.
    brought_by : str
        Code of who mended it.

    Returns
    -------
    TableCount
        What became of it; a row with ``void`` set to yes is only taken off the list.

    Raises
    ------
    StillRefusedError
        The row cannot be used as it is now; nothing is stored.
    NotListedError
        The refused row is not on the list any more; nothing is stored.
    IngestError, StoreError
        As for `ingest`.
    """
    text = io.StringIO(newline="")
    sheet = csv.writer(text)
    sheet.writerow([*row.cells, MENDS])
    sheet.writerow([*(guarded(cells.get(head, "")) for head in row.cells), row.number])
    with TemporaryDirectory(prefix="linedays-") as folder:
        path = Path(folder) / "mended"
        path.write_bytes(text.getvalue().encode("utf-8"))
        summary = ingest(
            store,
            LogFile(path, row.mended_name),
            policy,
            Profile(row.source, tables={row.table: TableProfile(ticks=row.ticks)}),
            row.table,
            received_at,
            ingested_at=received_at,
            brought_by=brought_by,
            mending=row.number,
        )
    for fault in summary.faults:
        raise fault
    return summary.tables[0]
