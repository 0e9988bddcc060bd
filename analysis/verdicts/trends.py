"""Is a rate rising or falling?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from analysis.verdicts.model import Verdict
from analysis.verdicts.names import GROUPS
from analysis.vocabulary import Grouping


class TrendCode(StrEnum):
    """What a trend over all periods shows."""

    NO_EVENTS = "no_events"
    """No event, or only one period."""
    TOO_FEW_FAMILIES = "too_few_families"
    """Events in too few families for limits."""
    NO_CLEAR_TREND = "no_clear_trend"
    RISING = "rising"
    FALLING = "falling"


@dataclass(frozen=True)
class TrendVerdict(Verdict):
    """What a trend shows; ratio of one period to the one before, with its 95 % limits."""

    code: TrendCode
    ratio: float
    lower: float
    upper: float
    season_adjusted: bool


def trend_verdict(trend: pd.DataFrame, by: Grouping) -> TrendVerdict:
    """Read the trend of a rate.

    Parameters
    ----------
    trend : DataFrame
        TREND with or without its dispersion, one row.
    by : Grouping
        Month or quarter.
    """
    one, many = GROUPS[by]
    row = trend.iloc[0]
    ratio, lower, upper = (float(row[c]) for c in ("ratio_per_period", "lower", "upper"))
    adjusted = bool(row["season_adjusted"])

    def verdict(code: TrendCode, text: str) -> TrendVerdict:
        return TrendVerdict(code, text, ratio, lower, upper, adjusted)

    if math.isnan(ratio):
        return verdict(
            TrendCode.NO_EVENTS, f"No trend to show: there is no event, or only one {one}."
        )
    if math.isnan(lower) or math.isnan(upper):
        return verdict(
            TrendCode.TOO_FEW_FAMILIES, "No trend to show: too few families have an event."
        )
    change = (
        f"{_change(ratio)} from one {one} to the next (95 % limits {_change(lower)} to "
        f"{_change(upper)}"
        f"{', adjusted for the season' if adjusted else ''})"
    )
    if lower <= 1 <= upper:
        return verdict(
            TrendCode.NO_CLEAR_TREND, f"No clear trend over all complete {many}: {change}."
        )
    code = TrendCode.RISING if ratio > 1 else TrendCode.FALLING
    season = "" if adjusted else " With less than two years of data a season can look like a trend."
    return verdict(code, f"{str(code).capitalize()} over all complete {many}: {change}.{season}")


def _change(ratio: float) -> str:
    """A ratio as a change in per cent, with its sign.

    Examples
    --------
    >>> _change(1.02), _change(0.914), _change(1.0)
    ('+2.0 %', '−8.6 %', '0.0 %')
    """
    text = f"{100 * (ratio - 1):+.1f} %".replace("-", "\N{MINUS SIGN}")
    return text[1:] if text[1:] == "0.0 %" else text
