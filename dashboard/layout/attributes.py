"""How are attributes with a dash written?"""

from __future__ import annotations

from typing import Any


def aria(**values: str) -> dict[str, Any]:
    """Attributes for assistive technology.

    Examples
    --------
    >>> aria(label="Pages")
    {'aria-label': 'Pages'}
    """
    return {f"aria-{name}": value for name, value in values.items()}


def current(*, it_is: bool, kind: str = "true") -> dict[str, Any]:
    """Mark the chosen one among several; nothing for the others."""
    return {"aria-current": kind} if it_is else {}


def in_page(*, opens: bool = False) -> dict[str, Any]:
    """A link that changes the call list in place; `opens`: it opens a family's panel."""
    marks = {"data-in-page": "true"}
    return {**marks, "data-opens": "true"} if opens else marks


def chooses(name: str, *, keeps: bool = False) -> dict[str, Any]:
    """A list to choose from that sets a part of the address; `keeps`: what is opened stays so."""
    marks = {"data-chooses": name, "data-key": name}
    return {**marks, "data-keeps": "true"} if keeps else marks


def shows(table: str, row: int) -> dict[str, Any]:
    """A button that shows a stored row in the place for source rows."""
    return {"data-shows": table, "data-row": str(row)}


def instead_of(field_id: str) -> dict[str, Any]:
    """What is gone to where a field is asked for and not offered."""
    return {"data-instead-of": field_id}


def keyed(key: str) -> dict[str, Any]:
    """What keeps the focus when the part around it is made again."""
    return {"data-key": key}


def sends(store: str) -> dict[str, Any]:
    """A form that is handed, as it was filled in, to the store of that id."""
    return {"data-sends": store}


def takes_files(most_bytes: int) -> dict[str, Any]:
    """The form on which files are dropped, and how many bytes it takes at once."""
    return {"data-drops": "true", "data-most-bytes": str(most_bytes)}


def takes_back(row: int, store: str) -> dict[str, Any]:
    """A button that tells the store of that id the number of what is to be undone."""
    return {"data-takes-back": str(row), "data-tells": store}


def downloads() -> dict[str, Any]:
    """A button that takes the list out as a file."""
    return {"data-downloads": "true"}


def source_place() -> dict[str, Any]:
    """The place in which source rows are shown."""
    return {"data-source": "true"}
