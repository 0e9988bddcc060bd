"""Which week is shown and for which role, as part of the address?"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode


@dataclass(frozen=True)
class WeekChoice:
    """As read from an address; each part may be missing or mistaken."""

    week: str | None = None
    """ISO week, as ``2031-W11``, or a day in it."""
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
    given = {k: v[0] for k, v in parse_qs((search or "").lstrip("?")).items()}
    return WeekChoice(given.get("week"), given.get("for"), given.get("known"))


def week_address(choice: WeekChoice, kind: str | None = None) -> str:
    """The address of a summary; with a kind, of its file.

    Examples
    --------
    >>> week_address(WeekChoice("2031-W11", "educator", "now"), "pdf")
    '/week/report.pdf?week=2031-W11&for=educator&known=now'
    """
    given = {"week": choice.week, "for": choice.whose, "known": choice.known}
    query = urlencode({k: v for k, v in given.items() if v is not None})
    return f"/week{f'/report.{kind}' if kind else ''}?{query}"
