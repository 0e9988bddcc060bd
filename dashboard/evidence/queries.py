"""From which file, sheet and row does a stored row come, and what did it say?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from contextlib import suppress
from datetime import date, datetime
from zoneinfo import ZoneInfo

from analysis.snapshot import Snapshot
from analysis.store import SourceRow, Store
from analysis.tables import INCOMING, KNOWN, Kind, Sensitivity
from analysis.vocabulary import NOTHING_SEEN
from dashboard.evidence.views import Source, SourceInTime
from dashboard.layout.words import LINE_TYPES, day_year, moment, plain
from dashboard.security.roles import Reader, Right
from dashboard.session.frames import cells

DAY_DONE, TIME_DONE = "done_on", "done_at"
"""The day of an entry is shown where the log has no time."""
RIGHTS: Mapping[Sensitivity, frozenset[Right]] = defaultdict(
    frozenset,
    {
        Sensitivity.LANGUAGE: frozenset({Right.LANGUAGE}),
        Sensitivity.CONTACT: frozenset({Right.CONTACT}),
        Sensitivity.FREE_TEXT: frozenset({Right.NOTES}),
        Sensitivity.CLOSED: frozenset({Right.LANGUAGE, Right.CONTACT, Right.NOTES}),
    },
)
"""Rights that a reader needs to see a cell, by the sensitivity of its field."""
MOST_SOURCES = 12
"""Source rows shown for one reason, the newest; the rest is counted."""


def sources_of(
    wanted: Iterable[tuple[str, int]], store: Store, found: Snapshot, reader: Reader
) -> dict[tuple[str, int], Source]:
    """Stored rows by table and number, with the cells that the reader may see."""
    by_table: dict[str, set[int]] = {}
    for table, row in wanted:
        by_table.setdefault(table, set()).add(row)
    zone = found.policy.zone
    sources: list[Source] = []
    for table, rows in by_table.items():
        if table == "calls":
            sources += _calls(rows, found, zone)
        else:
            stored = store.source_rows(table, sorted(rows))
            sources += [_as_came_in(r, found, reader) for r in stored]
    return {(source.table, source.row): source for source in sources}


def _as_came_in(row: SourceRow, found: Snapshot, reader: Reader) -> Source:
    zone = found.policy.zone
    # The moment of an entry names its day as well.
    twice = {DAY_DONE} if row.content.get(TIME_DONE) else set()
    return Source(
        table=row.table,
        row=row.row,
        file=row.file,
        sheet=row.sheet,
        row_number=row.row_number if reader.sites is None else None,
        received_at=row.received_at.astimezone(zone),
        cells=tuple(
            (head, worded(row.table, head, text, found))
            for head, text in row.content.items()
            if text and head not in twice and may_see(reader, row.table, head)
        ),
        doubts=tuple(row.doubts),
        blank=tuple(
            column.name
            for column in INCOMING[row.table].columns
            if column.name not in {*row.content, DAY_DONE}
            and may_see(reader, row.table, column.name)
        ),
        void=row.content.get("void") == "yes",
        originals={
            column: _as_written(cells)
            for column, cells in (row.originals or {}).items()
            if may_see(reader, row.table, column)
        },
        has_originals=row.originals is not None,
    )


def _as_written(cells: tuple[tuple[str, str], ...]) -> str:
    """The cell of the file, with its heads where a column comes from several of them."""
    if len(cells) == 1:
        return f"“{cells[0][1]}”"
    return ", ".join(f"{head}: “{cell}”" for head, cell in cells)


def worded(table: str, head: str, text: str, found: Snapshot) -> str:
    """A stored cell as a person reads it: words for codes, days, the programme's own time.

    Cells that are none of these, and what does not look as its column should, stay as they are.
    """
    kinds = {column.name: column.kind for column in KNOWN[table].columns}
    kind = kinds.get(head, Kind.TEXT)
    if kind in (Kind.CODE, Kind.CODES):
        edition = found.edition
        labels = {code: known.label for code, known in edition.findings.items()}
        labels |= {code: known.label for code, known in edition.steps.items()}
        labels |= LINE_TYPES if head == "line_type" else {}
        if head == "findings":
            labels[NOTHING_SEEN] = "looked, nothing seen"
        return ", ".join(labels.get(code, plain(code)) for code in text.split(";"))
    with suppress(ValueError):
        if kind is Kind.DATE:
            return day_year(date.fromisoformat(text))
        if kind is Kind.INSTANT:
            at = datetime.fromisoformat(text.replace(" UTC", "+00:00"))
            return moment(at.astimezone(found.policy.zone))
    return text


def in_time(
    table: str, row: int, store: Store, alone: Snapshot, reader: Reader
) -> SourceInTime | None:
    """A stored row of a family with the versions before it, as far as `alone` knows them.

    Versions about another family are left out and counted.
    """
    if table == "calls":
        found = _calls({row}, alone, alone.policy.zone)
        return SourceInTime(found[0], (), 0) if found else None
    received = [v for v in store.versions_of_row(table, row) if v.received_at <= alone.known_at]
    at = next((at for at, version in enumerate(received) if version.row == row), None)
    if at is None:
        return None
    before = received[:at][::-1]
    mine = [version for version in before if _speaks_of(alone, version)]
    return SourceInTime(
        row=_as_came_in(received[at], alone, reader),
        earlier=tuple(_as_came_in(version, alone, reader) for version in mine),
        left_out=len(before) - len(mine),
    )


def _speaks_of(alone: Snapshot, row: SourceRow) -> bool:
    """Whether every code in a stored row is one of the family's own."""
    records = alone.records
    own = {
        "family_id": records.lines["family_id"],
        "child_id": records.lines["child_id"],
        "line_id": records.lines["line_id"],
        "caregiver_id": records.caregivers["caregiver_id"],
    }
    return all(row.content[c] in set(codes) for c, codes in own.items() if row.content.get(c))


def may_see(reader: Reader, table: str, head: str) -> bool:
    """Whether a reader may see a cell of a stored row by the head of its column.

    A column that the catalogue does not know may hold anything, also a way to reach somebody.
    """
    known = {column.name: column.sensitivity for column in KNOWN[table].columns}
    if head == "void":
        return True
    return all(reader.may(right) for right in RIGHTS[known.get(head, Sensitivity.CLOSED)])


def _calls(rows: set[int], found: Snapshot, zone: ZoneInfo) -> list[Source]:
    calls = found.records.calls
    calls = calls[calls["row"].isin(rows).to_numpy(dtype=bool)]
    names = ("row", "called_at", "called_by", "outcome", "agreed", "recheck_on")
    return [
        Source(
            table="calls",
            row=int(row),
            file=None,
            sheet=None,
            row_number=None,
            received_at=made.tz_localize("UTC").tz_convert(zone).to_pydatetime(),
            cells=(
                ("called_by", by),
                ("outcome", plain(str(outcome))),
                *((("agreed", agreed),) if agreed else ()),
                *((("recheck_on", day_year(recheck)),) if recheck is not None else ()),
            ),
        )
        for row, made, by, outcome, agreed, recheck in cells(calls, *names)
    ]
