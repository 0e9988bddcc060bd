"""What became of files that were imported on the page, or what would become of them?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

import pandas as pd

from analysis.ingest import IngestSummary, Profile
from analysis.ingest.next_steps import TO_DESCRIBE
from analysis.ingest.preview import Cause, Preview, SheetPreview
from analysis.snapshot import Snapshot
from dashboard.incoming.queries.received import as_shown
from dashboard.incoming.views import (
    CauseShown,
    CellShown,
    ColumnShown,
    Counts,
    Previewed,
    SheetShown,
    TakenIn,
)
from dashboard.session.forms import FormError
from dashboard.session.views import PageContext

MOST_SHOWN = 20
"""Rows refused now that are shown at once; the others are on the list."""


BLANK = CellShown(None, None)
ROWS_SHOWN = 4
"""First rows of a sheet that fit next to each other."""


def profile_of(source: str | None, profiles: Mapping[str, Profile]) -> Profile | None:
    """The source profile that was chosen; None: our own form.

    Raises
    ------
    FormError
        There is none of this name.
    """
    if not source:
        return None
    if source not in profiles:
        raise FormError("There is no such source. Choose one from the list.")
    return profiles[source]


def previewed(found: Preview, number: str, names: Sequence[str], context: PageContext) -> Previewed:
    """A preview as the page shows it; `number` names the upload of files with these names."""
    return Previewed(
        context=context,
        number=number,
        sheets=tuple(_sheet(sheet) for sheet in found.sheets),
        counts=tuple(Counts(**asdict(count)) for count in found.summary.tables),
        faults=tuple(str(fault) for fault in found.summary.faults),
        notes=found.summary.notes,
        to_describe=_to_describe(found.summary, names),
    )


def _to_describe(summary: IngestSummary, names: Sequence[str]) -> tuple[tuple[int, str], ...]:
    unlike = {fault.file for fault in summary.faults if fault.code in TO_DESCRIBE}
    return tuple((at, name) for at, name in enumerate(names) if name in unlike)


def _sheet(sheet: SheetPreview) -> SheetShown:
    rows = sheet.rows[:ROWS_SHOWN]
    meanings = {
        match.head: f"{match.column}: {match.code}" if match.code else str(match.column)
        for match in sheet.heads
        if match.column is not None
    }
    by_profile = {cell.column for row in rows for cell in row.cells if cell.head is None}
    meanings |= dict.fromkeys(sorted(by_profile), "set by the source profile")
    cells = {
        (row.row_number, cell.head or cell.column): CellShown(cell.written, cell.read)
        for row in rows
        for cell in row.cells
    }
    columns = tuple(
        ColumnShown(head, meaning, tuple(cells.get((row.row_number, head), BLANK) for row in rows))
        for head, meaning in meanings.items()
    )
    return SheetShown(
        file=sheet.file,
        sheet=sheet.sheet,
        table=sheet.table,
        columns=columns,
        absent=sheet.absent,
        rows=tuple((row.row_number, row.refused is not None) for row in rows),
        refused=tuple(_cause(cause) for cause in sheet.refused),
        doubts=tuple(_cause(cause) for cause in sheet.doubts),
    )


def _cause(cause: Cause) -> CauseShown:
    return CauseShown(**asdict(cause))


def taken_in(
    summary: IngestSummary,
    names: Sequence[str],
    refused: pd.DataFrame,
    found: Snapshot,
    context: PageContext,
) -> TakenIn:
    """The command's summary, and the rows that were refused now."""
    return TakenIn(
        context=context,
        counts=tuple(Counts(**asdict(count)) for count in summary.tables),
        faults=tuple(str(fault) for fault in summary.faults),
        notes=summary.notes,
        refused=as_shown(refused.head(MOST_SHOWN), found, sees=True),
        refused_left=max(0, len(refused) - MOST_SHOWN),
        to_describe=_to_describe(summary, names),
    )
