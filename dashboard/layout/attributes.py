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


def downloads() -> dict[str, Any]:
    """A button that takes the list out as a file."""
    return {"data-downloads": "true"}


def source_place() -> dict[str, Any]:
    """The place in which source rows are shown."""
    return {"data-source": "true"}
