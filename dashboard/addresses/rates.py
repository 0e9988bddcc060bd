"""What did a reader of the rates choose, and how does the address say it?"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qs


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


def read_rates(search: str | None) -> RatesChoice:
    """Choice of the rates page from the address's query.

    Examples
    --------
    >>> read_rates("?event=pus&by=therapy").by
    'therapy'
    """
    given = parse_qs((search or "").lstrip("?"))
    names = ("event", "basis", "period", "baseline", "by", "first", "second", "since")
    return RatesChoice(**{name: given[name][0] for name in names if name in given})
