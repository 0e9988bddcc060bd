"""What would become of a file if it were ingested now? Nothing is stored.

The file goes through the ingest itself, in a transaction that is undone, so a preview can never
differ from what `ingest` does. What is kept of it: the heads, the first rows as they are written
and as they are read, and what would be refused or is odd, counted by cause.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np

from analysis.ingest.as_read import cells_as_read
from analysis.ingest.checked import Checked
from analysis.ingest.faulty import REASONS
from analysis.ingest.heads import REFUSED_ROW, Heads
from analysis.ingest.near import NearCodes, codes_of
from analysis.ingest.profile import Profile, TableProfile
from analysis.ingest.raw import LogFile, Part
from analysis.ingest.run import ingest
from analysis.ingest.sentences import doubt_sentence, fix, further_sentences, is_private, why
from analysis.ingest.summary import IngestSummary, Progress
from analysis.policy import Policy
from analysis.store import Store
from analysis.tables.incoming import INCOMING

FIRST_ROWS = 5
"""Rows of a sheet that are shown as written and as read."""
EXAMPLES = 3
"""Rows that are named for one cause of refusal or doubt."""


@dataclass(frozen=True)
class HeadMatch:
    """A head of the sheet and the column it is read as; None: it is not one of ours."""

    head: str
    column: str | None
    code: str | None = None
    """Of a column that means one code."""


@dataclass(frozen=True)
class CellPreview:
    """A cell as it is written and as it is read; `read` is None where it is blank or unreadable.

    `head` is None for a column that the source profile fills in.
    """

    head: str | None
    column: str
    written: str | None
    read: str | None


@dataclass(frozen=True)
class RowPreview:
    """One of the first rows; `refused` and `doubts` are sentences."""

    row_number: int
    cells: tuple[CellPreview, ...]
    refused: str | None
    doubts: tuple[str, ...]


@dataclass(frozen=True)
class Cause:
    """Why rows would be refused, or what is odd about them: how many, and the first of them.

    `values` are the first different values at fault, none for a private column.
    """

    column: str | None
    sentence: str
    n_rows: int
    first_rows: tuple[int, ...]
    values: tuple[str, ...] = ()


@dataclass(frozen=True)
class SheetPreview:
    """One table in one sheet, or the whole, of a file."""

    file: str
    sheet: str | None
    table: str
    heads: tuple[HeadMatch, ...]
    absent: tuple[str, ...]
    """Columns of the table that the sheet does not have."""
    rows: tuple[RowPreview, ...]
    refused: tuple[Cause, ...]
    doubts: tuple[Cause, ...]


@dataclass(frozen=True)
class Preview:
    """What an ingest of some files would do; `summary` is what it would report."""

    sheets: tuple[SheetPreview, ...]
    summary: IngestSummary


def preview(
    store: Store,
    paths: Iterable[str | Path | LogFile],
    policy: Policy,
    profile: Profile | None = None,
    table: str | None = None,
    received_at: datetime | None = None,
    progress: Callable[[Progress], None] | None = None,
    *,
    ingested_at: datetime | None = None,
    history: bool = False,
    zone_is_set: bool = True,
    sources: Sequence[Profile] = (),
) -> Preview:
    """Show what files would become, and store nothing.

    Parameters
    ----------
    store : Store
        Against whose rows they are checked. Other writers wait meanwhile, as for an ingest.
    paths, policy, profile, table, received_at, progress, ingested_at, history, zone_is_set, sources
        As for `ingest`. A file that was ingested before is read all the same.

    Returns
    -------
    Preview
        Sheets in the order in which they would be read.

    Raises
    ------
    IngestError, StoreError
        As for `ingest`.
    """
    seen = _Seen()
    with store.trying() as trial:
        summary = ingest(
            trial,
            paths,
            policy,
            profile,
            table,
            received_at,
            progress,
            ingested_at=ingested_at,
            history=history,
            zone_is_set=zone_is_set,
            watch=seen,
            sources=sources,
        )
        near = codes_of(trial.registry())
    return Preview(tuple(sheet.preview(near) for sheet in seen.sheets.values()), summary)


@dataclass
class _Found:
    """Rows of one cause so far."""

    n_rows: int = 0
    first_rows: list[int] = field(default_factory=list)
    values: dict[str, None] = field(default_factory=dict)

    def add(self, row_numbers: Iterable[int], n: int) -> None:
        self.n_rows += n
        for number in row_numbers:
            if len(self.first_rows) == EXAMPLES:
                break
            self.first_rows.append(int(number))

    def show(self, values: Iterable[str | None]) -> None:
        """Note the first different values."""
        for value in values:
            if value is not None and len(self.values) < EXAMPLES:
                self.values[value] = None


@dataclass
class _Sheet:
    """What was seen of one sheet so far."""

    part: Part
    looks: TableProfile
    rows: list[RowPreview] = field(default_factory=list)
    refused: dict[tuple[str | None, str], _Found] = field(default_factory=dict)
    doubts: dict[str, _Found] = field(default_factory=dict)

    def add(self, checked: Checked) -> None:
        """Note a batch."""
        n_more = min(FIRST_ROWS - len(self.rows), len(checked))
        if n_more > 0:
            self.rows += _first_rows(checked, n_more)
        self._add_refused(checked)
        self._add_doubts(checked)

    def _add_refused(self, checked: Checked) -> None:
        faults = checked.faults
        at = np.flatnonzero(~faults.usable)
        kinds = np.stack([faults.reason[at], faults.column[at].astype(np.int64)])
        for reason, column in np.unique(kinds, axis=1).T.tolist():
            rows = at[(kinds[0] == reason) & (kinds[1] == column)]
            name = faults.columns[column] if column >= 0 else None
            found = self.refused.setdefault((name, str(REASONS[reason])), _Found())
            found.add(checked.raw.row_numbers[rows[:EXAMPLES]].tolist(), len(rows))
            if not is_private(self.part.table, name, str(REASONS[reason])):
                found.show(checked.values_at_fault(rows[: 20 * EXAMPLES]))
        for name, reason, where in faults.further:
            rows = np.flatnonzero(where & ~faults.usable)
            if not len(rows):
                continue
            found = self.refused.setdefault((name, str(reason)), _Found())
            found.add(checked.raw.row_numbers[rows[:EXAMPLES]].tolist(), len(rows))
            if not is_private(self.part.table, name, str(reason)):
                found.show(checked.cells_of(name, rows[: 20 * EXAMPLES]))

    def _add_doubts(self, checked: Checked) -> None:
        for doubt, where in checked.doubts.found:
            rows = np.flatnonzero(where & checked.faults.usable & ~checked.withdrawals)
            if len(rows):
                found = self.doubts.setdefault(doubt, _Found())
                found.add(checked.raw.row_numbers[rows[:EXAMPLES]].tolist(), len(rows))

    def preview(self, near: NearCodes) -> SheetPreview:
        """The sheet as seen."""
        part, heads = self.part, self.part.heads
        matches = {at: HeadMatch(heads.written[at], column) for at, column in heads.columns.items()}
        matches |= {at: HeadMatch(t.head, t.column, t.code) for at, t in heads.ticks.items()}
        matches |= {at: HeadMatch(t.head, t.column, t.code) for at, t in heads.entries.items()}
        matches |= {at: HeadMatch(heads.written[at], c) for at, c in heads.times.items()}
        matches |= {at: HeadMatch(head, None) for at, head in heads.unknown.items()}
        given = {match.column for match in matches.values()} | self.looks.filled
        return SheetPreview(
            file=part.file,
            sheet=part.of_sheet if part.fixed else part.sheet,
            table=part.table,
            heads=tuple(matches[at] for at in sorted(matches)),
            absent=tuple(c.name for c in INCOMING[part.table].columns if c.name not in given),
            rows=tuple(self.rows),
            refused=_causes(self.refused, part.table, near),
            doubts=tuple(
                Cause(None, _sentence(doubt), found.n_rows, tuple(found.first_rows))
                for doubt, found in sorted(self.doubts.items(), key=lambda kind: -kind[1].n_rows)
            ),
        )


def _sentence(doubt: str) -> str:
    words = doubt_sentence(doubt)
    return f"{words[:1].upper()}{words[1:]}."


def _causes(
    refused: Mapping[tuple[str | None, str], _Found], table: str, near: NearCodes
) -> tuple[Cause, ...]:
    """Causes of refusal in words, the most frequent first."""
    causes = []
    for (column, reason), found in sorted(refused.items(), key=lambda kind: -kind[1].n_rows):
        value = next(iter(found.values), None)
        what = why(table, column, value, reason)
        sentence = f"{what[:1].upper()}{what[1:]}. {fix(table, column, value, reason)}"
        sentence += near.suggestion(value, reason)
        first, values = tuple(found.first_rows), tuple(found.values)
        causes.append(Cause(column, sentence, found.n_rows, first, values))
    return tuple(causes)


@dataclass
class _Seen:
    """Collects what the ingest checks, sheet by sheet."""

    sheets: dict[tuple[str, str | None, str], _Sheet] = field(default_factory=dict)

    def __call__(self, checked: Checked) -> None:
        """Note a batch."""
        part = checked.source.part
        looks = checked.source.profile.table(part.table)
        name = part.of_sheet if part.fixed else part.sheet
        sheet = self.sheets.setdefault((part.file, name, part.table), _Sheet(part, looks))
        sheet.add(checked)


def _first_rows(checked: Checked, n: int) -> list[RowPreview]:
    """The first rows of a batch, each cell as written and as read."""
    part = checked.source.part
    heads = part.heads
    read = cells_as_read(checked, n)
    names = {at: (heads.written[at], column) for at, column in heads.columns.items()}
    names |= {at: (tick.head, tick.column) for at, tick in heads.ticks.items()}
    names |= {at: (heads.written[at], column) for at, column in heads.times.items()}
    names |= {at: (tick.head, tick.column) for at, tick in heads.entries.items()}
    order = sorted(at for at, (_, column) in names.items() if column != REFUSED_ROW)
    written = {at: checked.raw.cells[at].slice(0, n).to_pylist() for at in order}
    filled = sorted(checked.source.profile.table(part.table).filled)
    doubts = checked.doubts.texts()
    rows = []
    for row in range(n):
        cells = [
            CellPreview(
                *names[at],
                written[at][row],
                _read_as(heads, at, written[at][row], read.get(names[at][1], {}).get(row)),
            )
            for at in order
        ]
        cells += [CellPreview(None, column, None, read[column].get(row)) for column in filled]
        usable = bool(checked.faults.usable[row])
        rows.append(
            RowPreview(
                row_number=int(checked.raw.row_numbers[row]),
                cells=tuple(cells),
                refused=None if usable else _refusal(checked, row),
                doubts=tuple(doubt_sentence(d) for d in (doubts[row] or "").split(";") if d)
                if usable
                else (),
            )
        )
    return rows


def _read_as(heads: Heads, at: int, written: str | None, read: str | None) -> str | None:
    """What a cell is read as; a time of day and the tick of another entry stay as written."""
    if at in heads.times or (at in heads.entries and heads.entries[at].code != read):
        return written
    return read


def _refusal(checked: Checked, row: int) -> str:
    """What is wrong with a refused row and how to fix it."""
    faults, table = checked.faults, checked.source.part.table
    column = faults.columns[faults.column[row]] if faults.column[row] >= 0 else None
    reason = str(REASONS[faults.reason[row]])
    (value,) = checked.values_at_fault(np.array([row]))
    place = f"{column}: " if column else ""
    first = f"{place}{why(table, column, value, reason)}. {fix(table, column, value, reason)}"
    (further,) = checked.further(np.array([row]))
    return first + further_sentences(table, further)
