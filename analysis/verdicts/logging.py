"""Could days without an entry hide events?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from analysis.verdicts.model import Verdict
from analysis.words import percent


class LoggingCode(StrEnum):
    """What the families that log well show about the rate of all."""

    NO_DAYS = "no_days"
    NO_SUCH_FAMILY = "no_such_family"
    """No family logs well enough to compare with."""
    ALIKE = "alike"
    DIFFERENT = "different"


@dataclass(frozen=True)
class LoggingVerdict(Verdict):
    """Whether families that log well have another rate than all, and the log coverage."""

    code: LoggingCode
    log_coverage: float


def logging_verdict(bias: pd.DataFrame) -> LoggingVerdict:
    """Read a table of logging bias.

    Parameters
    ----------
    bias : DataFrame
        LOGGING_BIAS of the programme: one row, or none without home line-days.
    """
    if not len(bias):
        return LoggingVerdict(
            LoggingCode.NO_DAYS,
            "There are no home line-days, so log coverage is unknown.",
            math.nan,
        )
    row = bias.iloc[0]
    coverage = float(row["log_coverage"])
    head = f"An event is known only when a family logs it. The log covers {percent(coverage)} of home line-days"
    if not row["well_logged_days"]:
        text = f"{head}, and no family logs well enough to compare with."
        return LoggingVerdict(LoggingCode.NO_SUCH_FAMILY, text, coverage)
    if row["well_logged_lower"] <= row["rate_per_1000"] <= row["well_logged_upper"]:
        text = f"{head}; families that log well show no clear difference from the rate of all."
        return LoggingVerdict(LoggingCode.ALIKE, text, coverage)
    text = f"{head}; families that log well have a different rate, so read the chart with care."
    return LoggingVerdict(LoggingCode.DIFFERENT, text, coverage)
