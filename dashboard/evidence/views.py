"""What is shown of a stored row? Frozen answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from dashboard.layout.words import moment


@dataclass(frozen=True)
class Source:
    """A stored row as it came in: where from, when, and its filled cells in file order."""

    table: str
    row: int
    file: str | None
    sheet: str | None
    row_number: int | None
    """Of the file; None: the reader sees only some sites, and it would show how much others send."""
    received_at: datetime | None
    cells: tuple[tuple[str, str], ...]
    """Column and reading."""
    doubts: tuple[str, ...] = ()
    blank: tuple[str, ...] = ()
    """Known columns that were left blank."""
    void: bool = False
    """The row voids an earlier one."""
    originals: Mapping[str, str] = field(default_factory=dict)
    """The cell of the file where the reading is another text, by column."""
    has_originals: bool = True
    """False: it was read before originals were stored."""

    @property
    def where(self) -> str:
        """File, sheet, row and time of receipt as one line."""
        when = "" if self.received_at is None else moment(self.received_at)
        if self.file is None:
            return f"recorded here on {when}"
        sheet = f", sheet {self.sheet}" if self.sheet else ""
        row = "" if self.row_number is None else f", row {self.row_number}"
        return f"{self.file}{sheet}{row}; received {when}"


@dataclass(frozen=True)
class SourceInTime:
    """A stored row with its earlier versions."""

    row: Source
    earlier: tuple[Source, ...]
    """The newest first."""
    left_out: int
    """How many versions belong to another family and are not shown."""
