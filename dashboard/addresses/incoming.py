"""Which pages of its lists does the page of incoming data show?"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.addresses.reading import read, written


@dataclass(frozen=True)
class IncomingChoice:
    """Which pages of the two long lists are shown; they are part of the page's address."""

    files: int = 1
    refused: int = 1


def read_incoming(search: str | None) -> IncomingChoice:
    """Which pages of its lists the page of incoming logs shows.

    Examples
    --------
    >>> read_incoming("?refused=3&files=x")
    IncomingChoice(files=1, refused=3)
    """
    return read(IncomingChoice, search, _NAMES)


def incoming_address(choice: IncomingChoice, part: str) -> str:
    """Address of a page of a list.

    Examples
    --------
    >>> incoming_address(IncomingChoice(files=2), "files")
    '/incoming?files=2#files'
    """
    return f"{written('/incoming', choice, _NAMES)}#{part}"


_NAMES = {"files": "files", "refused": "refused"}
