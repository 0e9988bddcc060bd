"""What does the page of dwell time show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from dashboard.addresses.dwell import DwellChoice


@dataclass(frozen=True)
class DwellView:
    """Dwell time by group, with its readings and tests."""

    choice: DwellChoice
    answer: str
    curves: pd.DataFrame
    """DWELL with `name`."""
    summary: pd.DataFrame
    """DWELL_SUMMARY with `name`, and `sentence`: its reading with the median."""
    shown: pd.DataFrame
    """Rows of `summary` whose curves the figures show, with `given`: the lines counted."""
    at_risk: pd.DataFrame
    """AT_RISK with `name` at the days of the axis."""
    at_days: pd.DataFrame
    """`at_risk` with the shares of DWELL on those days, where there is a curve."""
    last_day: int
    """Last day since placement that the figures show."""
    in_place_words: str
    unplanned_words: str
    left_out: str
    """Which groups have no curve in the figures, and lines without time at risk; may be empty."""
    tests: tuple[str, ...]
    """Log-rank tests in words; empty with one group."""
    hazard: pd.DataFrame
    """OVERDUE_HAZARD."""
    hazard_words: str
