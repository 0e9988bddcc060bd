"""How does a refused row become a form, and the form a row?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import orjson

from analysis.ingest import IngestError, NotListedError, StillRefusedError, TableCount
from analysis.ingest.fixing import RowToFix, fix_row
from analysis.ingest.sentences import fix as how_to_fix
from analysis.ingest.sentences import further_sentences, why
from analysis.policy import Edition, Policy
from analysis.snapshot import Snapshot
from analysis.store import Store, StoreError
from analysis.tables import INCOMING, Kind
from analysis.tables.columns import Column
from dashboard.incoming.views import CellField, RowCorrected, RowForm
from dashboard.layout.words import plain
from dashboard.session.forms import FormError
from dashboard.session.ingesting import PATIENCE_SECONDS
from dashboard.session.views import PageContext

HINTS: Mapping[Kind, str] = {
    Kind.DATE: "like 2031-03-04",
    Kind.MONTH: "like 2031-03",
    Kind.INSTANT: "like 2031-03-04 or 2031-03-04T18:30",
}
RECEIVED_HINT = "when the clinic got it, like 2031-03-04T18:30; blank: now"


@dataclass(frozen=True)
class Wrong:
    """What is wrong with a row."""

    column: str | None
    value: str | None
    reason: str
    further: str | None = None

    @property
    def columns(self) -> frozenset[str | None]:
        """Every column at fault."""
        return frozenset({self.column, *(one[0] for one in orjson.loads(self.further or "[]"))})


def row_form(
    row: RowToFix,
    found: Snapshot,
    context: PageContext,
    cells: Mapping[str, str] | None = None,
    wrong: Wrong | None = None,
) -> RowForm:
    """The form of a row: as it was sent, or as it was just corrected and is still wrong."""
    fault = wrong or Wrong(row.column, row.value, row.reason, row.further)
    facts = (row.table, fault.column, fault.value, fault.reason)
    sentence = why(*facts)
    known = {c.name: c for c in INCOMING[row.table].columns}
    hints = _hints(row, found.edition)
    return RowForm(
        context=context,
        number=row.number,
        table=row.table,
        file=row.file,
        sheet=row.sheet,
        row=row.row_number,
        what=f"{sentence[:1].upper()}{sentence[1:]}. {how_to_fix(*facts)}"
        f"{further_sentences(row.table, fault.further)}",
        tried=wrong is not None,
        fields=tuple(
            _field(at, head, (cells or row.cells)[head], known.get(head), hints.get(head), fault)
            for at, head in enumerate(row.cells)
            if head != "void"
        ),
    )


def _field(
    at: int, head: str, value: str, column: Column | None, hint: str | None, fault: Wrong
) -> CellField:
    if hint is not None:
        pass
    elif column is None:
        hint = "an extra column of this file; kept with the row but not used"
    elif column.low is not None:
        hint = f"whole number, {column.low} to {column.high}"
    else:
        hint = HINTS.get(column.kind, "")
    return CellField(
        name=f"cell-{at}",
        head=head,
        value=value,
        kind="" if column is None else str(column.kind),
        allowed=() if column is None or column.kind is not Kind.CODE else column.allowed,
        hint=hint,
        required=column is not None and column.required,
        wrong=head in fault.columns,
    )


def _hints(row: RowToFix, edition: Edition) -> dict[str, str]:
    """What may be written under heads that the catalogue alone does not explain."""
    lists = {"findings": edition.findings, "steps_missed": edition.steps}
    codes = {
        head: f"none, or codes joined by ; of {', '.join(known)}" for head, known in lists.items()
    }
    ticks = {tick.head: f"yes or no; blank: not checked ({plain(tick.code)})" for tick in row.ticks}
    return {**codes, **ticks, "received_at": RECEIVED_HINT}


def cells_of(row: RowToFix, sent: Mapping[str, str]) -> dict[str, str]:
    """The row's cells as the form has them; a cell that was not sent stays as it is."""
    cells = {
        head: sent.get(f"cell-{at}", cell).replace("\r\n", "\n").strip()
        for at, (head, cell) in enumerate(row.cells.items())
    }
    return {**cells, "void": "yes"} if sent.get("take_off") == "yes" else cells


def correct(
    store_url: str, row: RowToFix, cells: Mapping[str, str], policy: Policy, at: datetime, who: str
) -> TableCount | Wrong | None:
    """Take the row in; what is wrong with it now; None: it is not on the list any more.

    Raises
    ------
    FormError
        Somebody else is writing to the store.
    """
    try:
        with Store.open(store_url, create=False, wait_seconds=PATIENCE_SECONDS) as store:
            return fix_row(store, row, cells, policy, received_at=at, brought_by=who)
    except StillRefusedError as still:
        return Wrong(still.column, still.value, still.reason, still.further)
    except NotListedError:
        return None
    except (IngestError, StoreError) as fault:
        raise FormError(f"The row was not corrected. {fault}") from None


def row_corrected(
    row: RowToFix, done: TableCount, coming: Sequence[int], context: PageContext, *, used: bool
) -> RowCorrected:
    """What became of the row, and which one is next on the list."""
    return RowCorrected(
        context=context,
        place=row.fixed_name.removesuffix(", corrected"),
        used=used,
        known_before=done.same_as_before > 0,
        left=len(coming),
        next_number=coming[0] if coming else None,
    )
