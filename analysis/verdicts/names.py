"""How are groups and periods named to a reader?"""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from analysis.measures.comparison import SPAN
from analysis.vocabulary import Grouping
from analysis.words import LINE_TYPES, MONTHS, plain

NOT_RECORDED = "not recorded"
DRESSINGS = {"none": "no dressing"}
"""Dressing types with another name than their code."""
GROUPS = {
    Grouping.ALL: ("programme", "programme"),
    Grouping.MONTH: ("month", "months"),
    Grouping.QUARTER: ("quarter", "quarters"),
    Grouping.SITE: ("site", "sites"),
    Grouping.NURSE: ("nurse", "nurses"),
    Grouping.LINE_TYPE: ("line type", "line types"),
    Grouping.DRESSING_TYPE: ("dressing", "dressings"),
    Grouping.THERAPY: ("therapy", "therapies"),
    Grouping.AGE_BAND: ("age group", "age groups"),
    Grouping.FAMILY: ("family", "families"),
}
"""One and several of each grouping."""
EVENTS = {
    "skin": ("skin event", "skin events"),
    "bloodstream_infection": ("bloodstream infection", "bloodstream infections"),
    "exit_site_infection": ("exit site infection", "exit site infections"),
    "occlusion": ("occlusion", "occlusions"),
    "dislodgement": ("dislodgement", "dislodgements"),
    "breakage": ("breakage", "breakages"),
    "thrombosis": ("thrombosis", "thromboses"),
}
"""One and several of each event that is followed."""


def event_name(event: str, *, one: bool = False) -> str:
    """An event as a reader would say it, several of them unless `one`.

    Examples
    --------
    >>> event_name("skin"), event_name("thrombosis", one=True)
    ('skin events', 'thrombosis')
    """
    names = EVENTS.get(event, (plain(event), plain(event)))
    return names[0] if one else names[1]


def group_name(group: Any, by: Grouping) -> str:
    """A value of a grouping as a reader would say it.

    Examples
    --------
    >>> group_name("picc", Grouping.LINE_TYPE), group_name("1-4", Grouping.AGE_BAND)
    ('PICC', '1–4 years')
    >>> group_name(None, Grouping.SITE)
    'not recorded'
    """
    if group is None or pd.isna(group):
        return NOT_RECORDED
    text = str(group)
    if by is Grouping.LINE_TYPE:
        return LINE_TYPES.get(text, plain(text))
    if by is Grouping.DRESSING_TYPE:
        return DRESSINGS.get(text, plain(text))
    if by is Grouping.AGE_BAND:
        return "under 1 year" if text == "0" else text.replace("-", "–") + " years"
    if by is Grouping.ALL:
        return "all lines"
    if by in (Grouping.MONTH, Grouping.QUARTER):
        return period_name(text)
    return plain(text)


def period_name(period: str) -> str:
    """A month or quarter in words.

    Examples
    --------
    >>> period_name("2031-03"), period_name("2031-Q1")
    ('Mar 2031', 'Q1 2031')
    """
    year, part = period.split("-")
    return f"{part if part.startswith('Q') else MONTHS[int(part) - 1]} {year}"


def period_of(day: date, by: Grouping) -> str:
    """The month or quarter of a day, as tables name it.

    Examples
    --------
    >>> period_of(date(2031, 3, 4), Grouping.MONTH), period_of(date(2031, 3, 4), Grouping.QUARTER)
    ('2031-03', '2031-Q1')
    """
    return f"{day:%Y-%m}" if by is Grouping.MONTH else f"{day.year}-Q{(day.month + 2) // 3}"


def span_name(first: str, last: str) -> str:
    """A span of periods in words, both ends included.

    Examples
    --------
    >>> span_name("2031-01", "2031-03")
    'Jan 2031 to Mar 2031'
    """
    return period_name(first) if first == last else f"{period_name(first)} to {period_name(last)}"


def compared_name(compared: str, by: Grouping) -> str:
    """A group, or a span of periods such as ``2031-01..2031-06``, in words.

    Examples
    --------
    >>> compared_name("2031-01..2031-06", Grouping.MONTH), compared_name("picc", Grouping.LINE_TYPE)
    ('Jan 2031 to Jun 2031', 'PICC')
    """
    if by in (Grouping.MONTH, Grouping.QUARTER) and SPAN in compared:
        return span_name(*compared.split(SPAN, 1))
    return group_name(compared, by)
