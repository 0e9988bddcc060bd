"""How is what a reader chose read from the query of an address, and written into it?"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from datetime import date
from typing import TypeVar
from urllib.parse import parse_qs, urlencode

Choice = TypeVar("Choice")


def query_of(search: str | None) -> dict[str, str]:
    """The first value of each name in a query."""
    return {name: values[0] for name, values in parse_qs((search or "").lstrip("?")).items()}


def read(kind: type[Choice], search: str | None, names: Mapping[str, str]) -> Choice:
    """Read a choice, a dataclass of words and whole numbers, from a query.

    `names` are those in the address with the fields that they name. What is missing, or is no
    number where one is due, is as usual.
    """
    given, usual = query_of(search), kind()
    found: dict[str, object] = {}
    for name, part in names.items():
        if name in given:
            otherwise = getattr(usual, part)
            is_number = isinstance(otherwise, int)
            found[part] = whole_number(given[name], otherwise) if is_number else given[name]
    return kind(**found)


def written(path: str, choice: object, names: Mapping[str, str]) -> str:
    """Address of a page under a choice; what is usual is not written. `names` as for `read`."""
    usual = type(choice)()
    chosen = {n: getattr(choice, part) for n, part in names.items()}
    chosen = {n: v for n, v in chosen.items() if v != getattr(usual, names[n])}
    return f"{path}?{urlencode(chosen)}" if chosen else path


def iso_day(text: str | None) -> date | None:
    """A day written as an ISO date; None where it is none."""
    with suppress(ValueError):
        return date.fromisoformat(text or "")
    return None


def whole_number(text: str | None, otherwise: int) -> int:
    """A whole number in digits, or another one where it is none."""
    return int(text) if text is not None and text.isascii() and text.isdigit() else otherwise
