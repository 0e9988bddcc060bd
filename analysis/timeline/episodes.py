"""Which findings belong together, and which confirmed harms are repeats of one?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.timeline.axis import Axis, Codes, Flags, Ints, line_of, starts_of_runs
from analysis.timeline.coded import OUTCOMES, Entries, Lines, Outcomes
from analysis.timeline.home import Home
from analysis.vocabulary import OutcomeKind


@dataclass(frozen=True)
class FindingEvents:
    """One position an event, by line and onset; days since 1970."""

    line: Ints
    onset_on: Ints
    last_on: Ints
    findings: Ints
    """Entries in it."""
    onset_row: Ints
    last_row: Ints
    at_home: Flags
    """Attributed to home."""


@dataclass(frozen=True)
class OutcomeEvents:
    """One position an event, by line, onset, outcome and row; days since 1970."""

    line: Ints
    outcome: Codes
    """Position in `OUTCOMES`."""
    onset_on: Ints
    row: Ints
    at_home: Flags
    """Attributed to home."""


def entries_that_hold(entries: Entries, codes: Iterable[str]) -> Flags:
    """Mark the entries whose findings, codes joined by ``;``, hold one of the codes."""
    wanted = set(codes)
    holding = [
        not wanted.isdisjoint(code.strip() for code in text.split(";"))
        for text in entries.findings_texts
    ]
    return np.array(holding, dtype=bool)[entries.findings]


def finding_events(
    axis: Axis, home: Home, entries: Entries, chosen: Flags, gap_days: int
) -> FindingEvents:
    """Join findings of one line into events (definitions §5).

    A finding no more than `gap_days` after the one before belongs to the same event, so an
    event may last as long as findings go on. All known findings count, wherever the child
    was; `at_home` is whether the event is attributed to home.

    Parameters
    ----------
    axis, home, entries
        The packed axis, who is where, and the coded entries.
    chosen : bool array
        Which entries hold a finding of the kind asked for.
    gap_days : int
        Unit: days.

    Returns
    -------
    FindingEvents
        By line and onset.
    """
    picked = np.flatnonzero(chosen & (entries.line >= 0))
    key = axis.pack(entries.line[picked], entries.day[picked])
    row = entries.row[picked]
    order = np.lexsort((row, entries.at[picked], key))
    key, row = key[order], row[order]
    # before: one row a finding; after: one row an event
    opens = starts_of_runs(line_of(key))
    opens[1:] |= np.diff(key) > gap_days
    first = np.flatnonzero(opens)
    last = np.append(first[1:], len(key)) - 1 if len(first) else first
    line, onset_on = line_of(key[first]), axis.day(key[first])
    return FindingEvents(
        line=line,
        onset_on=onset_on,
        last_on=axis.day(key[last]),
        findings=last - first + 1,
        onset_row=row[first],
        last_row=row[last],
        at_home=home.attributed(axis, line, onset_on),
    )


def outcome_events(
    axis: Axis, lines: Lines, home: Home, outcomes: Outcomes, repeat_days: int
) -> OutcomeEvents:
    """Return confirmed harms, repeats of a bloodstream infection of one child counted once.

    A bloodstream infection with its onset within `repeat_days` of the first of an event (that
    day being day 1) is the same event, wherever the child was; the event belongs to the line
    of the first. Later ones do not prolong the time. Outcomes of lines that the registry
    does not know are left out.

    *Source:* NHSN repeat infection timeframe, as in definitions §5.
    """
    line, outcome, day, row = outcomes.line, outcomes.outcome, outcomes.onset_on, outcomes.row
    kept = np.ones(len(line), dtype=bool)
    infections = np.flatnonzero(outcome == OUTCOMES.index(OutcomeKind.BLOODSTREAM_INFECTION))
    child = lines.child[line[infections]]
    order = np.lexsort((row[infections], day[infections], child))
    infections = infections[order]
    kept[infections] = firsts_of_events(axis.pack(child[order], day[infections]), repeat_days)
    line, day, outcome, row = line[kept], day[kept], outcome[kept], row[kept]
    order = np.lexsort((row, outcome, day, line))
    line, day, outcome, row = line[order], day[order], outcome[order], row[order]
    return OutcomeEvents(line, outcome, day, row, home.attributed(axis, line, day))


def firsts_of_events(key: Ints, repeat_days: int) -> Flags:
    """Mark the onsets that start an event; the loop is over events of one child, not rows.

    Parameters
    ----------
    key : int64 array, sorted
        Child and day on the packed axis.
    repeat_days : int
        Days of an event, the first included.

    Examples
    --------
    >>> firsts_of_events(np.array([0, 13, 14, 27, 28]), 14).tolist()
    [True, False, True, False, True]
    """
    starts = np.zeros(len(key), dtype=bool)
    owner = line_of(key)
    following = np.searchsorted(key, key + repeat_days, side="left")
    at = np.flatnonzero(starts_of_runs(owner))
    while len(at):
        starts[at] = True
        after = following[at]
        inside = after < len(key)
        inside[inside] = owner[after[inside]] == owner[at[inside]]
        at = after[inside]
    return starts
