"""What did a reader of the call list choose, and how does the address say it?"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.addresses.reading import read, written

CALLS = "/"
EVERY_NURSE = "*"
"""Asks for the families of all nurses, where a person's own caseload is shown otherwise."""


@dataclass(frozen=True)
class Choice:
    """What a reader of the call list chose; it is part of the page's address."""

    band: str | None = None
    site: str | None = None
    nurse: str | None = None
    language: str | None = None
    page: int = 1
    per_page: int = 50
    family_id: str | None = None

    @property
    def of_nurse(self) -> str | None:
        """Code of the nurse whose families are asked for; None: all nurses."""
        return None if self.nurse == EVERY_NURSE else self.nurse


def read_choice(search: str | None) -> Choice:
    """Choice from the address's query; what is not understood is left at its default.

    Examples
    --------
    >>> read_choice("?show=call_today&page=2").page
    2
    """
    return read(Choice, search, _NAMES)


def write_choice(choice: Choice) -> str:
    """Address of the call list under a choice.

    Examples
    --------
    >>> write_choice(Choice(band="call_today", family_id="F01"))
    '/?show=call_today&family=F01'
    >>> write_choice(Choice())
    '/'
    """
    return written(CALLS, choice, _NAMES)


def lasting_query(choice: Choice) -> str:
    """What of a choice is remembered for the person, as a query: filters and rows a page.

    Examples
    --------
    >>> lasting_query(Choice(band="call_today", site="North", page=2))
    'site=North'
    """
    lasting = Choice(
        site=choice.site, nurse=choice.nurse, language=choice.language, per_page=choice.per_page
    )
    return write_choice(lasting).partition("?")[2]


_NAMES = {
    "show": "band",
    "site": "site",
    "nurse": "nurse",
    "language": "language",
    "page": "page",
    "rows": "per_page",
    "family": "family_id",
}
"""Names in the address, and the parts of the choice that they name."""
