"""Which week or month does a report cover, and on which morning is it read?"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date, timedelta

from analysis.measures.counts import MeasureError
from analysis.words import MONTHS, short_day

WEEK = 7
SETTLING_DAYS = 28
"""Days after a quarter in which late entries may still come in before anything about it leaves."""
YEARS = range(1900, 2200)
"""No log is older or newer, and days outside this range cannot be calculated."""
_WEEK = re.compile(r"(\d{4})-W(\d{2})", re.ASCII)
_MONTH = re.compile(r"(\d{4})-(\d{2})", re.ASCII)


@dataclass(frozen=True)
class Period:
    """A calendar month, a quarter, or an ISO week from Monday to Sunday."""

    name: str
    """``2031-03``, ``2031-Q1`` or ``2031-W11``."""
    start: date
    end: date
    """The morning after, on which it is read: its days lie before."""

    @property
    def is_week(self) -> bool:
        """Whether it is a week."""
        return "W" in self.name

    @property
    def is_quarter(self) -> bool:
        """Whether it is a quarter."""
        return "Q" in self.name

    @property
    def last(self) -> date:
        """Its last day."""
        return self.end - timedelta(days=1)

    @property
    def settled_on(self) -> date:
        """Day of receipt up to which late entries about it are waited for."""
        return self.last + timedelta(days=SETTLING_DAYS)

    @property
    def kind(self) -> str:
        """``week``, ``month`` or ``quarter``."""
        return "week" if self.is_week else "quarter" if self.is_quarter else "month"

    @property
    def words(self) -> str:
        """The period in words.

        Examples
        --------
        >>> week("2031-W11").words, month("2031-03").words
        ('week 11 of 2031, 10 Mar to 16 Mar', 'March 2031')
        """
        if self.is_quarter:
            return f"{month_words(self.name)}, {short_day(self.start, self.last)} to {short_day(self.last, self.last)}"
        if not self.is_week:
            return f"{calendar.month_name[self.start.month]} {self.start.year}"
        year, number = self.name.split("-W")
        first = short_day(self.start, self.last)
        return f"week {int(number)} of {year}, {first} to {short_day(self.last, self.last)}"

    def before(self) -> Period:
        """The period before."""
        day = self.start - timedelta(days=1)
        if self.is_quarter:
            return quarter_of(day)
        return week_of(day) if self.is_week else month_of(day)

    @property
    def mornings(self) -> tuple[date, ...]:
        """Mornings of which the call lists are shown: each of a week, every seventh of a month.

        The first is that of the first day, the last that on which the period is read; of a quarter
        there are no others.
        """
        if self.is_quarter:
            return (self.start, self.end)
        step = 1 if self.is_week else WEEK
        length = (self.end - self.start).days
        days = [self.start + timedelta(days=n) for n in range(0, length, step)]
        return (*days, self.end)


def week(name: str) -> Period:
    """Read an ISO week, as ``2031-W11``.

    Raises
    ------
    MeasureError
        There is no such week.

    *Source:* ISO 8601, week date.

    Examples
    --------
    >>> week("2026-W47").start.isoformat()
    '2026-11-16'
    """
    found = _WEEK.fullmatch(name)
    try:
        start = date.fromisocalendar(int(found[1]), int(found[2]), 1) if found else None
    except ValueError:
        start = None
    if start is None or start.year not in YEARS:
        raise MeasureError(f"{name!r} is not a week; write it as 2031-W11, with ISO week numbers.")
    return week_of(start)


def week_of(day: date) -> Period:
    """The ISO week of a day."""
    year, number, weekday = day.isocalendar()
    start = day - timedelta(days=weekday - 1)
    return Period(f"{year:04}-W{number:02}", start, start + timedelta(days=WEEK))


def month(name: str) -> Period:
    """Read a month, as ``2031-03``.

    Raises
    ------
    MeasureError
        There is no such month.

    Examples
    --------
    >>> month("2031-12").end.isoformat()
    '2032-01-01'
    """
    found = _MONTH.fullmatch(name)
    try:
        start = date(int(found[1]), int(found[2]), 1) if found else None
    except ValueError:
        start = None
    if start is None or start.year not in YEARS:
        raise MeasureError(f"{name!r} is not a month; write it as 2031-03.")
    return month_of(start)


def month_of(day: date) -> Period:
    """The calendar month of a day."""
    start = day.replace(day=1)
    return Period(f"{start:%Y-%m}", start, (start + timedelta(days=31)).replace(day=1))


def quarter_of(day: date) -> Period:
    """The calendar quarter of a day."""
    first = day.month - (day.month - 1) % 3
    start = date(day.year, first, 1)
    end = (start + timedelta(days=93)).replace(day=1)
    return Period(f"{day.year}-Q{(first + 2) // 3}", start, end)


def outside_quarter(period: Period) -> Period:
    """The quarter that a copy for outside reports on when a week or month is asked for.

    The last one that had been over for `SETTLING_DAYS` when the period ended. All copies made until
    the next one report on the same quarter, received by the same moment, so that no count can be
    found by subtracting one copy from another.

    Examples
    --------
    >>> outside_quarter(month("2031-03")).name, outside_quarter(month("2031-04")).name
    ('2030-Q4', '2031-Q1')
    """
    return closed_quarter(period.end)


def closed_quarter(day: date) -> Period:
    """The last quarter that has been over for `SETTLING_DAYS` on a day.

    Examples
    --------
    >>> closed_quarter(date(2031, 4, 28)).name, closed_quarter(date(2031, 4, 29)).name
    ('2030-Q4', '2031-Q1')
    """
    return quarter_of(quarter_of(day - timedelta(days=SETTLING_DAYS)).start - timedelta(days=1))


def month_words(name: str) -> str:
    """A month as tables name it, in words.

    Examples
    --------
    >>> month_words("2031-03"), month_words("2031-Q2")
    ('Mar 2031', 'Q2 2031')
    """
    year, part = name.split("-")
    return f"{part if part.startswith('Q') else MONTHS[int(part) - 1]} {year}"
