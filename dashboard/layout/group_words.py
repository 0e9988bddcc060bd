"""How are groups, periods and p values put into words?"""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from dashboard.layout import words
from dashboard.layout.words import limits as limits
from dashboard.layout.words import number as number
from dashboard.layout.words import percent as percent
from dashboard.layout.words import percents as percents

PERIODS = {"month": ("month", "months"), "quarter": ("quarter", "quarters")}
DRESSINGS = {
    "transparent": "transparent",
    "transparent_chg": "transparent with chlorhexidine",
    "gauze": "gauze",
    "none": "no dressing",
}
NOT_RECORDED = "not recorded"


def group_name(group: Any, by: str) -> str:
    """A value of a grouping as a reader would say it.

    Examples
    --------
    >>> group_name("picc", "line_type"), group_name("1-4", "age_band"), group_name(None, "site")
    ('PICC', '1–4 years', 'not recorded')
    """
    if group is None or pd.isna(group):
        return NOT_RECORDED
    text = str(group)
    if by == "line_type":
        return words.LINE_TYPES.get(text, words.plain(text))
    if by == "dressing_type":
        return DRESSINGS.get(text, words.plain(text))
    if by == "age_band":
        return "under 1 year" if text == "0" else text.replace("-", "–") + " years"
    if by == "all":
        return "all lines"
    if by in PERIODS:
        return period_name(text)
    return words.plain(text)


def period_name(period: str) -> str:
    """A month or quarter in words.

    Examples
    --------
    >>> period_name("2031-03"), period_name("2031-Q1")
    ('Mar 2031', 'Q1 2031')
    """
    year, part = period.split("-")
    return f"{part if part.startswith('Q') else words.MONTHS[int(part) - 1]} {year}"


def period_of(day: date, period: str) -> str:
    """The month or quarter of a day, as tables name it.

    Examples
    --------
    >>> period_of(date(2031, 3, 4), "month"), period_of(date(2031, 3, 4), "quarter")
    ('2031-03', '2031-Q1')
    """
    return f"{day:%Y-%m}" if period == "month" else f"{day.year}-Q{(day.month + 2) // 3}"


def chance(p: Any) -> str:
    """A p value as a reader can use it.

    Examples
    --------
    >>> chance(0.0004), chance(0.058)
    ('p < 0.001', 'p = 0.058')
    """
    if pd.isna(p):
        return "no p"
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}" if p < 0.1 else f"p = {p:.2f}"
