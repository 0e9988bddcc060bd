"""What became of the rows of each file?"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.ingest.faults import IngestError


@dataclass(frozen=True)
class TableCount:
    """Rows of one table in one file: ``read == stored + same_as_before + refused``, always.

    `doubts` counts the rows among the stored ones and those known before that are odd.
    """

    file: str
    table: str
    read: int
    stored: int
    same_as_before: int
    refused: int
    doubts: int


@dataclass(frozen=True)
class IngestSummary:
    """What an ingest did: counts by file and table, files that were not imported, notes."""

    tables: tuple[TableCount, ...]
    faults: tuple[IngestError, ...]
    notes: tuple[str, ...]

    @property
    def read(self) -> int:
        """Rows read."""
        return sum(t.read for t in self.tables)

    @property
    def stored(self) -> int:
        """Rows that added something."""
        return sum(t.stored for t in self.tables)

    @property
    def same_as_before(self) -> int:
        """Rows that were known already."""
        return sum(t.same_as_before for t in self.tables)

    @property
    def refused(self) -> int:
        """Rows that can't be used."""
        return sum(t.refused for t in self.tables)

    @property
    def doubts(self) -> int:
        """Rows that are odd."""
        return sum(t.doubts for t in self.tables)


@dataclass(frozen=True)
class Progress:
    """How far an ingest has come: rows of the file in hand, bytes of all files."""

    file: str
    rows: int
    bytes_done: int
    bytes_total: int
