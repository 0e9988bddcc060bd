"""Does a control chart show a change?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from analysis.verdicts.model import Verdict
from analysis.verdicts.names import GROUPS, period_name
from analysis.vocabulary import Grouping
from analysis.words import counted, listed, percent, sentence, signal_words

RECENT_PERIODS = 3
"""A signal in one of so many newest settled periods counts as current."""
ABOVE = "above_limit"


class ChartCode(StrEnum):
    """What a control chart of a rate shows."""

    NO_PERIODS = "no_periods"
    """No home line-days, so no period has a rate."""
    ALL_PROVISIONAL = "all_provisional"
    """Late entries may still change every period."""
    NOT_JUDGED = "not_judged"
    """In every settled period too few days are logged."""
    NO_LIMITS = "no_limits"
    """No event in the periods that the limits come from."""
    STEADY = "steady"
    """No settled period gives a signal."""
    EARLIER_SIGNAL = "earlier_signal"
    """A settled period gives a signal, but none of the newest ones."""
    SIGNAL = "signal"
    """One of the newest settled periods gives a signal."""
    PROVISIONAL_SIGNAL = "provisional_signal"
    """A period is above the upper limit although late entries may still raise it."""


@dataclass(frozen=True)
class ChartVerdict(Verdict):
    """What a control chart shows, and the periods behind it as tables name them."""

    code: ChartCode
    settled: int
    """Settled periods, the only ones that can clear a chart."""
    signals: tuple[str, ...]
    """Settled periods with a signal, oldest first."""
    provisional: tuple[str, ...]
    """Periods that late entries may still change."""
    provisional_signals: tuple[str, ...]
    """Of these the ones above the upper limit already."""
    not_judged: tuple[str, ...]
    """Periods with too low a log coverage."""


def chart_verdict(chart: pd.DataFrame, by: Grouping) -> ChartVerdict:
    """Read a control chart of a rate: one answer for page, report, notebook and command.

    Parameters
    ----------
    chart : DataFrame
        One row a period in order of time, with ``period``, ``signal``, ``upper_limit`` and
        ``provisional`` and ``judged``; the whole chart, not the part that a figure shows.
    by : Grouping
        Month or quarter.

    Returns
    -------
    ChartVerdict
        Provisional periods may raise a signal and never clear one.

    *Source:* project definition, definitions §5 and §9.
    """
    one, many = GROUPS[by]
    waiting = chart["provisional"].to_numpy(dtype=bool)
    judged = chart["judged"].to_numpy(dtype=bool)
    settled, open_ones = chart[~waiting & judged], chart[waiting]
    left_out = tuple(str(p) for p in chart.loc[~judged, "period"])
    worded = [
        (str(p), signal_words(s)) for p, s in zip(settled["period"], settled["signal"], strict=True)
    ]
    signals = [(period, why) for period, why in worded if why]
    above = [
        str(p)
        for p, s in zip(open_ones["period"], open_ones["signal"], strict=True)
        if ABOVE in ("" if pd.isna(s) else str(s)).split(";")
    ]

    def verdict(code: ChartCode, text: str) -> ChartVerdict:
        return ChartVerdict(
            code,
            text,
            len(settled),
            tuple(period for period, _ in signals),
            tuple(str(p) for p in open_ones["period"]),
            tuple(above),
            left_out,
        )

    later = _still_provisional([str(p) for p in open_ones["period"]], many)
    if left_out:
        are = f"{one} is" if len(left_out) == 1 else f"{many} are"
        later += f" {len(left_out)} {are} not judged: too few days are logged."
    if not len(chart):
        return verdict(
            ChartCode.NO_PERIODS, f"No home line-days are known, so no {one} has a rate."
        )
    if above:
        are = "is" if len(above) == 1 else "are"
        return verdict(
            ChartCode.PROVISIONAL_SIGNAL,
            f"Possible change: {listed([period_name(p) for p in above])} {are} above the upper "
            "limit already, although still provisional: late entries can only raise the rate.",
        )
    if not len(settled) and not waiting.all():
        return verdict(
            ChartCode.NOT_JUDGED,
            f"Not judged: in no complete {one} are enough days logged to judge the rate.",
        )
    if not len(settled):
        return verdict(
            ChartCode.ALL_PROVISIONAL, f"Too early to say: every {one} is still provisional."
        )
    if settled["upper_limit"].isna().all():
        return verdict(
            ChartCode.NO_LIMITS,
            f"Too few events to say: there is no event in the {many} that set the limits.{later}",
        )
    of = counted(len(settled), one, many)
    if not signals:
        return verdict(
            ChartCode.STEADY,
            f"No sign of change: no {one} out of {len(settled)} gives a signal on the control "
            f"chart.{later}",
        )
    period, why = signals[-1]
    newest = f"{period_name(period)} ({why})"
    give = "gives" if len(signals) == 1 else "give"
    if period in set(settled["period"].tail(RECENT_PERIODS).astype(str)):
        return verdict(
            ChartCode.SIGNAL,
            f"Possible change: {len(signals)} of {of} {give} a signal on the control chart, most "
            f"recently {newest}.{later}",
        )
    return verdict(
        ChartCode.EARLIER_SIGNAL,
        f"No sign of change now: none of the last {RECENT_PERIODS} {many} gives a signal on the "
        f"control chart. {len(signals)} of {of} gave one earlier, most recently {newest}.{later}",
    )


def false_alarm_sentence(rate: float, periods: int, by: Grouping) -> str:
    """How often a chart like this one gives a false signal, in a sentence; empty: not known.

    Parameters
    ----------
    rate : float
        Of `chart_false_alarms`.
    periods : int
        Settled periods of the chart.
    by : Grouping
        Month or quarter.

    Examples
    --------
    >>> false_alarm_sentence(0.04, 24, Grouping.MONTH)
    'If the rate were steady, about 4 % of charts of 24 months like this one would give a false signal (simulated from this programme).'
    """
    if math.isnan(rate):
        return ""
    share = f"about {percent(rate)}" if rate >= 0.01 else "fewer than 1 %"
    return (
        f"If the rate were steady, {share} of charts of "
        f"{counted(periods, *GROUPS[by])} like this one would give a false signal (simulated "
        "from this programme)."
    )


def _still_provisional(periods: list[str], many: str) -> str:
    """A sentence that names the provisional periods, with a leading space; empty for none."""
    if not periods:
        return ""
    if len(periods) > RECENT_PERIODS:
        return f" {len(periods)} {many} are still provisional."
    names = listed([period_name(p) for p in periods])
    return " " + sentence(f"{names} {'is' if len(periods) == 1 else 'are'} still provisional")
