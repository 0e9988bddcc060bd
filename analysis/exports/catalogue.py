"""Which tables are made from the records for an export, and by which function?

A frame of the catalogue names lines and families by their place in another frame, and rows by
their number in the store. Outside these mean nothing, so a line and a family are named by their
code and row numbers are left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import pandas as pd

from analysis.decisions.capacity import kits_running_out
from analysis.decisions.retraining import not_signed_off
from analysis.decisions.sessions import group_sessions
from analysis.measures.adherence import adherence
from analysis.measures.counts import usual_basis
from analysis.measures.dwell import dwell
from analysis.measures.lines import line_table
from analysis.measures.rates import rates
from analysis.snapshot import Snapshot
from analysis.tables import calls, measures, planning, timeline
from analysis.tables import retraining as needs
from analysis.tables.columns import Column, Frame
from analysis.tables.fields import field_of
from analysis.tables.kinds import Kind
from analysis.tables.records import KNOWN
from analysis.vocabulary import Grouping, Limits, Task

_LINE_ID, _FAMILY_ID, _BY, _TASK, _EVENT = (
    Column.of(field_of(name)) for name in ("line_id", "family_id", "by", "task", "event")
)


@dataclass(frozen=True)
class Table:
    """A table to be written: its catalogue entry and its rows."""

    entry: Frame
    frame: pd.DataFrame


@dataclass(frozen=True)
class _Source:
    """A catalogue entry and the function that makes its frame."""

    made_from: Frame
    rows: Callable[[Snapshot], pd.DataFrame]
    further: tuple[Column, ...] = ()
    """Columns in front, where the frame is made for several splits, tasks or events."""

    def entry(self) -> Frame:
        """The entry as it is written."""
        own = [_outside(column, self.made_from) for column in self.made_from.columns]
        kept = tuple(column for column in own if column is not None)
        return replace(self.made_from, columns=(*self.further, *kept), key=())

    def table(self, seen: Snapshot) -> Table:
        """The table as it is written."""
        return Table(self.entry(), _with_codes(self.rows(seen), seen)[self.entry().names])


def _outside(column: Column, entry: Frame) -> Column | None:
    """A column as it is written; None: it is left out."""
    if column.name == "evidence":
        return None
    if column.kind is not Kind.COUNT or column.unit:
        return column
    if column.name in {"line", "family"}:
        named = _LINE_ID if column.name == "line" else _FAMILY_ID
        return None if named.name in entry.names else named
    if column.name == "row" or column.name.endswith("_row"):
        return None
    return column


def _with_codes(frame: pd.DataFrame, seen: Snapshot) -> pd.DataFrame:
    for name, of in (("line", seen.timeline.lines), ("family", seen.timeline.families)):
        code = f"{name}_id"
        if name in frame.columns and code not in frame.columns:
            codes = of[code].take(frame[name].to_numpy(dtype="int64"))
            frame = frame.assign(**{code: codes.to_numpy()})
    return frame


def _stacked(parts: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Frames one below the other; the empty ones have no say in the types."""
    every = list(parts)
    filled = [part for part in every if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else every[0]


def _by_task(rows: Callable[[Snapshot, Task], pd.DataFrame]) -> Callable[[Snapshot], pd.DataFrame]:
    return lambda seen: _stacked(rows(seen, task).assign(task=str(task)) for task in Task)


def _adherence(seen: Snapshot, task: Task) -> pd.DataFrame:
    return _stacked(adherence(seen.tallies, by, task).assign(by=str(by)) for by in Grouping)


def _rates(seen: Snapshot) -> pd.DataFrame:
    events = sorted({"skin", *seen.tallies.events["event"].astype(str)})
    return _stacked(
        rates(seen.tallies, event, by, usual_basis(event), Limits.EXACT).assign(
            event=event, by=str(by)
        )
        for event in events
        for by in Grouping
    )


_HELD = tuple(timeline.TALLY_LINES[name] for name in ("family_id", "site", "nurse"))


def _held(seen: Snapshot, counts: pd.DataFrame) -> pd.DataFrame:
    """Counts with the line, and the family, site and nurse that it had on those days."""
    names = ["line_id", *(column.name for column in _HELD)]
    of = seen.tallies.lines[names].iloc[counts["line"].to_numpy(dtype="int64")]
    return counts.assign(**{name: of[name].array for name in names})


def _dwell(seen: Snapshot) -> pd.DataFrame:
    return dwell(seen.timeline, seen.records, Grouping.ALL).curves


_SOURCES = (
    _Source(timeline.HOME_LINES, lambda s: s.timeline.lines),
    _Source(timeline.HOME_PERIODS, lambda s: s.timeline.home_periods),
    _Source(timeline.ACCESSED_PERIODS, lambda s: s.timeline.accessed_periods),
    _Source(timeline.INTERVALS, lambda s: s.timeline.intervals),
    _Source(timeline.CARE, lambda s: s.timeline.care),
    _Source(timeline.SKIN_EVENTS, lambda s: s.timeline.skin_events),
    _Source(timeline.OUTCOME_EVENTS, lambda s: s.timeline.outcome_events),
    _Source(timeline.FAMILIES, lambda s: s.timeline.families),
    _Source(timeline.TALLY_LINES, lambda s: s.tallies.lines),
    _Source(timeline.TALLY, lambda s: _held(s, s.tallies.days), _HELD),
    _Source(timeline.EVENT_ONSETS, lambda s: _held(s, s.tallies.onsets), _HELD),
    _Source(timeline.EVENT_TALLY, lambda s: _held(s, s.tallies.events), _HELD),
    _Source(
        measures.LINE_TABLE, _by_task(lambda seen, task: line_table(seen.timeline, task)), (_TASK,)
    ),
    _Source(measures.ADHERENCE, _by_task(_adherence), (_TASK, _BY)),
    _Source(measures.RATES, _rates, (_EVENT, _BY)),
    _Source(measures.DWELL, _dwell),
    _Source(calls.CALL_FAMILIES, lambda s: s.calls.families),
    _Source(calls.CALL_REASONS, lambda s: s.calls.reasons),
    _Source(KNOWN["arrangements"], lambda s: s.records.arrangements),
    _Source(needs.RETRAINING, lambda s: s.retraining),
    _Source(needs.NOT_SIGNED_OFF, lambda s: not_signed_off(s.timeline, s.records, s.policy)),
    _Source(needs.SESSIONS, lambda s: group_sessions(s.retraining, s.timeline)),
    _Source(planning.KITS, lambda s: kits_running_out(s.timeline, s.records, s.policy)),
)

TABLES: Mapping[str, Callable[[Snapshot], Table]] = {
    source.made_from.name: source.table for source in _SOURCES
}
"""How each table is made, by its name."""

OF_A_COMMAND: Mapping[str, str] = {
    "backtest": "backtest",
    "calibration": "backtest calibration",
    "call_evidence": "calls",
    "calling": "report",
    "calls_done": "calls done",
    "capacity": "capacity",
    "comparison": "compare",
    "counts": "rates",
    "delay_change": "report",
    "delays": "report",
    "dwell_summary": "dwell",
    "family_refreshers": "retraining last-refresher",
    "funnel": "funnel",
    "late_reports": "report",
    "later_events": "backtest",
    "gap_chart": "chart",
    "learning": "retraining learning",
    "line_times": "dwell",
    "list_change": "report",
    "logging_bias": "rates logging",
    "logrank": "dwell compare",
    "mean_count": "rates",
    "mornings": "backtest",
    "overdue_hazard": "dwell overdue",
    "practice": "retraining",
    "preceded": "backtest events",
    "provisional_rates": "rates provisional",
    "rate_chart": "chart",
    "refreshers": "retraining refreshers",
    "session_attendance": "sessions attendance",
    "shrunk_rates": "rates families",
    "signals": "signals",
    "standardised": "rates standardised",
    "to_call": "capacity",
    "training_sessions": "sessions",
    "trend": "rates trend",
    "whatif": "whatif",
}
"""Frames that answer a question with choices of its own, and the command that is asked it."""
