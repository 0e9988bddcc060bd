"""What does the page of incoming logs show? Frozen answers, as in `views`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import pandas as pd

from dashboard.views import Source, Standing


@dataclass(frozen=True)
class IncomingChoice:
    """Which pages of the two long lists are shown; they stand in the page's address."""

    files: int = 1
    refused: int = 1


@dataclass(frozen=True)
class Paged:
    """Where in a long list a page of it stands: its number, how many there are, rows in all."""

    page: int
    pages: int
    total: int


@dataclass(frozen=True)
class FileRow:
    """One table in a file that came in; None: not for a person who sees some sites alone."""

    file: str
    source: str
    table: str | None
    read: int | None
    stored: int
    same_as_before: int | None
    refused: int | None
    doubts: int | None
    received_at: datetime


@dataclass(frozen=True)
class Today:
    """What came in on the as-of day, and the newest file of all."""

    files: int
    read: int
    stored: int
    same_as_before: int
    refused: int
    newest_file: str | None
    newest_on: date | None


@dataclass(frozen=True)
class RefusedRow:
    """One row that waits to be mended."""

    number: int
    table: str
    file: str
    sheet: str | None
    row: int
    column: str | None
    value: str | None
    """None: nothing stood there, or it is not for this person."""
    told: str
    received_at: datetime


@dataclass(frozen=True)
class DoubtKind:
    """One kind of doubt and the newest rows behind it."""

    said: str
    total: int
    rows: tuple[Source, ...]
    """Without cells for a person who may not see the rows."""


@dataclass(frozen=True)
class IncomingView:
    """Files that came in, how late, what waits to be mended, what is odd."""

    standing: Standing
    today: Today
    files: tuple[FileRow, ...]
    files_paged: Paged
    refused: tuple[RefusedRow, ...]
    refused_paged: Paged
    refused_kinds: tuple[tuple[str, str, str, int], ...]
    """Table, column, what is wrong, how many; most first."""
    to_download: tuple[tuple[str, int], ...]
    """Tables with refused rows and how many, for a person who may mend them."""
    delays: pd.DataFrame
    """DELAYS with the source's name as it is said."""
    doubts: tuple[DoubtKind, ...]
    sees_rows: bool
    """Whether this person may see what stood in the rows."""
    mends: bool
    """Whether this person may mend rows and take files in on this day."""
