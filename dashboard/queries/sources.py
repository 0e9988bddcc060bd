"""From which file, sheet and row does a stored row come, and what did it say?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from zoneinfo import ZoneInfo

from analysis.snapshot import Snapshot
from analysis.store import SourceRow, Store
from dashboard.queries.frames import cells
from dashboard.views import ReasonView, ReasonWithRows, Source

MOST_SOURCES = 12
"""Source rows shown for one reason, the newest; the rest is counted."""


def with_rows(
    reasons: Sequence[ReasonView], store: Store, found: Snapshot
) -> tuple[ReasonWithRows, ...]:
    """Reasons with the rows that prove them, read from the store."""
    wanted = [row for reason in reasons for row in reason.proof[-MOST_SOURCES:]]
    sources = sources_of(wanted, store, found)
    return tuple(
        ReasonWithRows(
            reason,
            tuple(sources[r] for r in reason.proof[-MOST_SOURCES:] if r in sources),
            max(0, len(reason.proof) - MOST_SOURCES),
        )
        for reason in reasons
    )


def sources_of(
    wanted: Iterable[tuple[str, int]], store: Store, found: Snapshot
) -> dict[tuple[str, int], Source]:
    """Stored rows by table and number; unknown ones are passed by."""
    by_table: dict[str, set[int]] = {}
    for table, row in wanted:
        by_table.setdefault(table, set()).add(row)
    zone = found.policy.zone
    sources: list[Source] = []
    for table, rows in by_table.items():
        if table == "calls":
            sources += _calls(rows, found, zone)
        else:
            sources += [_as_came_in(r, zone) for r in store.source_rows(table, sorted(rows))]
    return {(source.table, source.row): source for source in sources}


def _as_came_in(row: SourceRow, zone: ZoneInfo) -> Source:
    return Source(
        table=row.table,
        row=row.row,
        file=row.file,
        sheet=row.sheet,
        row_number=row.row_number,
        received_at=row.received_at.astimezone(zone),
        cells=tuple((head, text) for head, text in row.content.items() if text),
        doubts=tuple(row.doubts),
    )


def _calls(rows: set[int], found: Snapshot, zone: ZoneInfo) -> list[Source]:
    calls = found.records.calls
    calls = calls[calls["row"].isin(rows).to_numpy(dtype=bool)]
    names = ("row", "made_at", "made_by", "reached", "agreed", "recheck_on")
    return [
        Source(
            table="calls",
            row=int(row),
            file=None,
            sheet=None,
            row_number=None,
            received_at=made.tz_localize("UTC").tz_convert(zone).to_pydatetime(),
            cells=(
                ("made_by", by),
                ("reached", "yes" if reached else "no"),
                *((("agreed", agreed),) if agreed else ()),
                ("recheck_on", f"{recheck:%Y-%m-%d}"),
            ),
        )
        for row, made, by, reached, agreed, recheck in cells(calls, *names)
    ]
