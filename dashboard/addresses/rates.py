"""What did a reader of the rates choose, and how does the address say it?"""

from __future__ import annotations

from dataclasses import dataclass, fields
from urllib.parse import parse_qs, urlencode


@dataclass(frozen=True)
class RatesChoice:
    """What a reader of the rates chose; it is part of the page's address. None: the usual."""

    event: str = "skin"
    basis: str | None = None
    period: str = "month"
    baseline: str | None = None
    by: str = "site"
    first: str | None = None
    second: str | None = None
    since: str | None = None
    site: str | None = None
    line_type: str | None = None
    nurse: str | None = None


_NAMES = tuple(part.name for part in fields(RatesChoice))
PATH = "/rates"


def rates_address(choice: RatesChoice) -> str:
    """Address of the rates page under a choice; usual values are left out.

    Examples
    --------
    >>> rates_address(RatesChoice(site="North 2")), rates_address(RatesChoice())
    ('/rates?site=North+2', '/rates')
    """
    usual = RatesChoice()
    given = {name: getattr(choice, name) for name in _NAMES}
    query = urlencode({k: v for k, v in given.items() if v is not None and v != getattr(usual, k)})
    return PATH + (f"?{query}" if query else "")


def read_rates(search: str | None) -> RatesChoice:
    """Choice of the rates page from the address's query.

    Examples
    --------
    >>> read_rates("?event=pus&by=therapy").by
    'therapy'
    """
    given = parse_qs((search or "").lstrip("?"))
    return RatesChoice(**{name: given[name][0] for name in _NAMES if name in given})
