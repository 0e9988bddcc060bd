"""How are days and whole numbers read from an address?"""

from __future__ import annotations

from contextlib import suppress
from datetime import date


def iso_day(text: str | None) -> date | None:
    """A day written as an ISO date; None where it is none."""
    with suppress(ValueError):
        return date.fromisoformat(text or "")
    return None


def whole_number(text: str | None, otherwise: int) -> int:
    """A whole number in digits, or another one where it is none."""
    return int(text) if text is not None and text.isascii() and text.isdigit() else otherwise
