"""What is the address of one family's page?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from urllib.parse import quote, unquote, urlencode

from dashboard.addresses.reading import iso_day, query_of, whole_number

FAMILY = "/family/"
LISTS = ("/", "/families")
"""Lists that a family is opened from."""


@dataclass(frozen=True)
class FamilyChoice:
    """What a reader of a family's page chose; it is part of the page's address."""

    time: str = "weeks"
    """`weeks` (the last eight), `months` (the last six) or `all`."""
    page: int = 1
    """Page of the table."""
    known_on: date | None = None
    """The page shows this earlier day, with what was received by its end; None: today."""
    opened_from: str | None = None
    """Address of the list that it was opened from, with what was chosen there."""


def family_address(family_id: str, choice: FamilyChoice | None = None) -> str:
    """Address of a family's page, under a choice.

    Examples
    --------
    >>> family_address("F 01/2"), family_address("F1", FamilyChoice(time="all", page=2))
    ('/family/F%2001%2F2', '/family/F1?time=all&page=2')
    """
    chosen = choice or FamilyChoice()
    given = {
        "time": None if chosen.time == FamilyChoice().time else chosen.time,
        "page": None if chosen.page == 1 else str(chosen.page),
        "known": None if chosen.known_on is None else chosen.known_on.isoformat(),
        "list": chosen.opened_from,
    }
    query = urlencode({k: v for k, v in given.items() if v is not None})
    return FAMILY + quote(family_id, safe="") + (f"?{query}" if query else "")


def read_family_choice(search: str | None) -> FamilyChoice:
    """Choice of a family's page from the address's query.

    Examples
    --------
    >>> read_family_choice("?time=all&page=2"), read_family_choice("?time=ever").time
    (FamilyChoice(time='all', page=2, known_on=None, opened_from=None), 'weeks')
    >>> read_family_choice("?known=2031-03-04").known_on
    datetime.date(2031, 3, 4)
    >>> read_family_choice("?list=%2F%3Fnurse%3DN1").opened_from, read_family_choice("?list=x.y").opened_from
    ('/?nurse=N1', None)
    """
    given = query_of(search)
    usual = FamilyChoice()
    time = given.get("time", usual.time)
    return FamilyChoice(
        time=time if time in ("weeks", "months", "all") else usual.time,
        page=whole_number(given.get("page"), 1),
        known_on=iso_day(given.get("known")),
        opened_from=_list_address(given.get("list")),
    )


def _list_address(text: str | None) -> str | None:
    """The address of one of the lists of this dashboard; None where it is anything else."""
    path = (text or "").partition("?")[0]
    return text if path in LISTS else None


def read_family(pathname: str) -> str | None:
    """Family code in a pathname, or None when it is not a family's page."""
    if not pathname.startswith(FAMILY):
        return None
    return unquote(pathname.removeprefix(FAMILY)) or None
