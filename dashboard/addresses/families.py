"""What did a reader of the list of all families choose, and how does the address show it?"""

from __future__ import annotations

from dataclasses import dataclass, replace

from dashboard.addresses.reading import read, written

FAMILIES = "/families"
FIND = "/families/find"
"""Where a search goes: to the family, where it finds one alone, else to the list."""
SORTS = ("family", "place", "overdue", "heard", "nurse", "site")
"""Columns of the list, by each of which it can be sorted."""


@dataclass(frozen=True)
class FamiliesChoice:
    """What a reader of the list of all families chose; it is part of the page's address."""

    q: str = ""
    """What is searched for: parts of codes of family, child, line, nurse or site."""
    place: str | None = None
    site: str | None = None
    nurse: str | None = None
    sort: str = "family"
    hide: str = ""
    """Columns that are not shown, joined by commas; the family always is."""
    page: int = 1

    @property
    def hidden(self) -> frozenset[str]:
        """Columns that are not shown."""
        return frozenset(self.hide.split(",")) & frozenset(SORTS[1:])


def read_families(search: str | None) -> FamiliesChoice:
    """Choice from the address's query.

    Examples
    --------
    >>> read_families("?q=F-01&sort=heard").sort, read_families("?sort=colour").sort
    ('heard', 'family')
    """
    found = read(FamiliesChoice, search, _NAMES)
    found = with_hidden(found, found.hidden)
    return found if found.sort in SORTS else replace(found, sort=FamiliesChoice.sort)


def with_hidden(choice: FamiliesChoice, hidden: frozenset[str]) -> FamiliesChoice:
    """A choice with other columns hidden.

    Examples
    --------
    >>> with_hidden(FamiliesChoice(), frozenset({"site", "nurse"})).hide
    'nurse,site'
    """
    return replace(choice, hide=",".join(name for name in SORTS if name in hidden))


def write_families(choice: FamiliesChoice) -> str:
    """Address of the list of all families under a choice.

    Examples
    --------
    >>> write_families(FamiliesChoice(q="F-01", sort="heard"))
    '/families?q=F-01&sort=heard'
    """
    return written(FAMILIES, choice, _NAMES)


EVERY_FAMILY = f"{FAMILIES}?sort={FamiliesChoice.sort}"
"""All families in their usual order, also for a person who chose otherwise before."""


def lasting_query(choice: FamiliesChoice) -> str:
    """What of a choice is remembered for the person, as a query: filters, order and columns.

    Examples
    --------
    >>> lasting_query(FamiliesChoice(q="F-01", sort="heard", page=3))
    'sort=heard'
    """
    return write_families(replace(choice, q="", page=1)).partition("?")[2]


_NAMES = {name: name for name in ("q", "place", "site", "nurse", "sort", "hide", "page")}
"""Names in the address, and the parts of the choice that they name."""
