"""What is shown of a stored row? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Source:
    """A stored row as it came in: where from, when, and its filled cells in file order."""

    table: str
    row: int
    file: str | None
    sheet: str | None
    row_number: int | None
    received_at: datetime | None
    cells: tuple[tuple[str, str], ...]
    doubts: tuple[str, ...] = ()
    blank: tuple[str, ...] = ()
    """Known columns that were left blank."""
    void: bool = False
    """The row withdraws what was said before."""


@dataclass(frozen=True)
class SourceInTime:
    """A stored row with what took its place later left out and what stood before it."""

    row: Source
    earlier: tuple[Source, ...]
    """Versions before it, the newest first."""
    left_out: int
    """Versions that speak of another family."""
