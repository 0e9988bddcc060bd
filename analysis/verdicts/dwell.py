"""Do groups keep their lines equally long, and does overdue care go with unplanned removal?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from analysis.verdicts.model import Verdict
from analysis.verdicts.names import GROUPS
from analysis.vocabulary import Grouping
from analysis.words import chance, counted, limits, number, sentence

SIGNIFICANT = 0.05


class LogrankCode(StrEnum):
    """What a log-rank test shows."""

    NOTHING_TO_COMPARE = "nothing_to_compare"
    NO_CLEAR_DIFFERENCE = "no_clear_difference"
    DIFFERENT = "different"


@dataclass(frozen=True)
class LogrankVerdict(Verdict):
    """Whether groups differ in how long their lines stay."""

    code: LogrankCode
    statistic: float
    df: int
    p: float


def logrank_verdict(test: pd.DataFrame, of: str, by: Grouping) -> LogrankVerdict:
    """Read a log-rank test.

    Parameters
    ----------
    test : DataFrame
        LOGRANK, one row.
    of : str
        What ends a line, as ``any removal``.
    by : Grouping
        The groups compared.
    """
    row = test.iloc[0]
    statistic, df, p = float(row["statistic"]), int(row["df"]), float(row["p"])
    one, many = GROUPS[by]
    what = f"{of}, by {one}"
    if math.isnan(p):
        text = sentence(f"{what}: nothing to compare")
        return LogrankVerdict(LogrankCode.NOTHING_TO_COMPARE, text, statistic, df, p)
    numbers = (
        f"log-rank test, chi-squared {number(statistic)} with "
        f"{counted(df, 'degree', 'degrees')} of freedom, {chance(p)}"
    )
    if p < SIGNIFICANT:
        text = sentence(f"{what}: the {many} differ by more than chance ({numbers})")
        return LogrankVerdict(LogrankCode.DIFFERENT, text, statistic, df, p)
    text = sentence(f"{what}: no clear difference between the {many} ({numbers})")
    return LogrankVerdict(LogrankCode.NO_CLEAR_DIFFERENCE, text, statistic, df, p)


class HazardCode(StrEnum):
    """What the hazard ratio of overdue care shows."""

    NO_ESTIMATE = "no_estimate"
    NO_CLEAR_DIFFERENCE = "no_clear_difference"
    HIGHER = "higher"
    """More unplanned removals while the dressing is out of date."""
    LOWER = "lower"


@dataclass(frozen=True)
class HazardVerdict(Verdict):
    """Whether lines end unplanned more often while their dressing is out of date."""

    code: HazardCode
    ratio: float
    lower: float
    upper: float


def hazard_verdict(hazard: pd.DataFrame) -> HazardVerdict:
    """Read the hazard ratio of unplanned removal while the dressing is out of date.

    Parameters
    ----------
    hazard : DataFrame
        OVERDUE_HAZARD, one row.
    """
    row = hazard.iloc[0]
    ratio, lower, upper = (float(row[c]) for c in ("hazard_ratio", "lower", "upper"))
    late, everything = int(row["unplanned_out_of_date"]), int(row["unplanned"])
    removals = counted(everything, "unplanned removal", "unplanned removals")
    head = f"{late} of {removals} happened while the dressing was out of date."
    if math.isnan(lower) or math.isnan(upper):
        text = f"{head} {sentence(str(row['reading']))}"
        return HazardVerdict(HazardCode.NO_ESTIMATE, text, ratio, lower, upper)
    span = f"{number(ratio)} times as often as in date (95 % limits {limits(lower, upper)})"
    caution = "This is an association, not a cause."
    if lower > 1:
        text = f"{head} Lines out of date ended unplanned more often: {span}. {caution}"
        return HazardVerdict(HazardCode.HIGHER, text, ratio, lower, upper)
    if upper < 1:
        text = f"{head} Lines out of date ended unplanned less often: {span}. {caution}"
        return HazardVerdict(HazardCode.LOWER, text, ratio, lower, upper)
    text = f"{head} No clear difference: lines out of date ended unplanned {span}. {caution}"
    return HazardVerdict(HazardCode.NO_CLEAR_DIFFERENCE, text, ratio, lower, upper)
