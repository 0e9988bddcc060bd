"""What did a reader of the access log choose, and how does the address show it?"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.addresses.reading import read


@dataclass(frozen=True)
class AccessLogChoice:
    """Which acts are shown; it is part of the page's address."""

    who: str = ""
    """Code of a person; blank: everybody."""
    family: str = ""
    """Code of a family; blank: all acts."""
    first: str = ""
    """First day as an ISO date; blank: from the start."""
    last: str = ""
    """Last day as an ISO date; blank: until now."""


def read_access_log(search: str | None) -> AccessLogChoice:
    """Choice from the address's query.

    Examples
    --------
    >>> read_access_log("?family=F-01&from=2031-03-01").first
    '2031-03-01'
    """
    return read(AccessLogChoice, search, _NAMES)


_NAMES = {"who": "who", "family": "family", "from": "first", "to": "last"}
"""Names in the address, and the parts of the choice that they name."""
