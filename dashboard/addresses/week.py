"""Which week is shown and for which role, as part of the address?"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.addresses.reading import read, written


@dataclass(frozen=True)
class WeekChoice:
    """As read from an address; each part may be missing or mistaken."""

    week: str | None = None
    """ISO week, as ``2031-W11``, a day in it, or a month, as ``2031-03``."""
    whose: str | None = None
    """Role whose summary it is."""
    known: str | None = None
    """`now`: with what was received after the week's end as well; or a day: up to its end."""


def read_week(search: str | None) -> WeekChoice:
    """Choice of the page of the week from the address's query.

    Examples
    --------
    >>> read_week("?week=2031-W11&for=educator")
    WeekChoice(week='2031-W11', whose='educator', known=None)
    """
    return read(WeekChoice, search, _NAMES)


def week_address(choice: WeekChoice, kind: str | None = None) -> str:
    """The address of a summary; with a kind, of its file.

    Examples
    --------
    >>> week_address(WeekChoice("2031-W11", "educator", "now"), "pdf")
    '/week/report.pdf?week=2031-W11&for=educator&known=now'
    """
    path = f"/week/report.{kind}" if kind else "/week"
    return written(path, choice, _NAMES)


_NAMES = {"week": "week", "for": "whose", "known": "known"}
