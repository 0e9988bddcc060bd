"""Are rare events coming closer together or further apart?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from analysis.measures.gap_charts import Wait
from analysis.stats.day_gaps import GapRule
from analysis.verdicts.model import Verdict
from analysis.vocabulary import ChartKind
from analysis.words import counted, percent

RECENT_GAPS = 3
"""A signal in one of so many newest gaps counts as current."""
BAD = (GapRule.TOO_SHORT, GapRule.RUN_OF_SHORT)


class GapCode(StrEnum):
    """What a chart of gaps between events shows."""

    TOO_FEW_EVENTS = "too_few_events"
    STEADY = "steady"
    MORE_EVENTS = "more_events"
    """Events are closer together than before."""
    FEWER_EVENTS = "fewer_events"
    """Events are further apart than before."""


@dataclass(frozen=True)
class GapVerdict(Verdict):
    """What a chart of gaps shows, and how long it has been without an event."""

    code: GapCode
    gaps: int
    since_last: int
    """Days, or line-days, since the last event."""
    chance_of_wait: float
    """Of a wait as long or longer at the earlier rate; nan: not known."""


def gap_verdict(chart: pd.DataFrame, wait: Wait, kind: ChartKind) -> GapVerdict:
    """Read a chart of gaps between events.

    Parameters
    ----------
    chart : DataFrame
        GAP_CHART of `gap_chart`.
    wait : Wait
        Of `since_last_event`.
    kind : ChartKind
        ``t``: gaps in days; ``g``: in line-days.
    """
    unit = ("day", "days") if kind is ChartKind.T else ("line-day", "line-days")
    waited = f"{counted(wait.since_last, *unit)} since the last event"

    def verdict(code: GapCode, text: str) -> GapVerdict:
        return GapVerdict(code, text, len(chart), wait.since_last, wait.chance)

    if len(chart) < 2:
        return verdict(GapCode.TOO_FEW_EVENTS, "Too few events to say: a chart needs three.")
    tail = (
        ""
        if math.isnan(wait.chance)
        else f" {waited}; at the earlier rate a wait this long or longer has a chance of "
        f"{percent(wait.chance) if wait.chance >= 0.01 else 'under 1 %'}."
    )
    newest = chart["signal"].tail(RECENT_GAPS).dropna()
    broken = {code for signal in newest for code in str(signal).split(";")}
    if broken & {str(rule) for rule in BAD}:
        return verdict(
            GapCode.MORE_EVENTS,
            f"Possible change for the worse: events are closer together than usual.{tail}",
        )
    if broken:
        return verdict(
            GapCode.FEWER_EVENTS,
            f"Possible change for the better: events are further apart than usual.{tail}",
        )
    return verdict(
        GapCode.STEADY, f"No sign of change in the last {min(RECENT_GAPS, len(chart))} gaps.{tail}"
    )
