"""What did a reader of the rates choose, and how does the address say it?"""

from __future__ import annotations

from dataclasses import dataclass, fields

from dashboard.addresses.reading import read, written


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


_NAMES = {part.name: part.name for part in fields(RatesChoice)}
PATH = "/rates"


def rates_address(choice: RatesChoice) -> str:
    """Address of the rates page under a choice; usual values are left out.

    Examples
    --------
    >>> rates_address(RatesChoice(site="North 2")), rates_address(RatesChoice())
    ('/rates?site=North+2', '/rates')
    """
    return written(PATH, choice, _NAMES)


def read_rates(search: str | None) -> RatesChoice:
    """Choice of the rates page from the address's query.

    Examples
    --------
    >>> read_rates("?event=pus&by=therapy").by
    'therapy'
    """
    return read(RatesChoice, search, _NAMES)
