"""What does the page of incoming logs show? Frozen answers, as in `views`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

import pandas as pd

from dashboard.evidence.views import Source
from dashboard.session.views import PageContext


@dataclass(frozen=True)
class Paged:
    """A page of a long list: its number, how many pages and rows there are."""

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
    brought_by: str | None
    """Code of who brought it here; None: the command line."""


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
    """One row to correct."""

    number: int
    table: str
    file: str
    sheet: str | None
    row: int
    column: str | None
    value: str | None
    """None: the cell was blank, or it is not for this person."""
    what: str
    received_at: datetime


@dataclass(frozen=True)
class DoubtKind:
    """One kind of doubt and the newest rows behind it."""

    what: str
    total: int
    rows: tuple[Source, ...]
    """Without cells for a person who may not see the rows."""
    earlier: Mapping[int, tuple[Source, ...]] = field(default_factory=dict)
    """By number of the row: the earlier entries that it may correct, for those who see rows."""


@dataclass(frozen=True)
class IncomingView:
    """Files received, how late, rows to correct, doubts."""

    context: PageContext
    today: Today
    files: tuple[FileRow, ...]
    files_paged: Paged
    refused: tuple[RefusedRow, ...]
    refused_paged: Paged
    refused_kinds: tuple[tuple[str, str, str, int], ...]
    """Table, column, what is wrong, how many; most first."""
    causes: tuple[CauseChoice, ...]
    """Those that one correction can fix, for a person who may correct rows."""
    to_download: tuple[tuple[str, int], ...]
    """Tables with refused rows and how many, for a person who may correct them."""
    delays: pd.DataFrame
    """DELAYS with the source's name in words."""
    doubts: tuple[DoubtKind, ...]
    sees_rows: bool
    """Whether this person may see the contents of the rows."""
    corrects: bool
    """Whether this person may correct rows on this day."""
    bringing: Bringing | None
    """What a file may be; None: this person may import none, or not on this day."""


@dataclass(frozen=True)
class Bringing:
    """What may be imported: source profiles to choose from, and how many bytes at once."""

    profiles: tuple[str, ...]
    most_bytes: int


@dataclass(frozen=True)
class Counts:
    """What became of a file's rows of one table, as the command line tells it."""

    file: str
    table: str
    read: int
    stored: int
    same_as_before: int
    refused: int
    doubts: int


@dataclass(frozen=True)
class CellShown:
    """A cell as written and as read; `read` is None where it is blank or not used."""

    written: str | None
    read: str | None


@dataclass(frozen=True)
class ColumnShown:
    """A column of a sheet, what it is read as, and its cells in the first rows."""

    head: str
    meaning: str
    cells: tuple[CellShown, ...]


@dataclass(frozen=True)
class CauseShown:
    """Why rows would be refused, or what is odd about them."""

    column: str | None
    sentence: str
    n_rows: int
    first_rows: tuple[int, ...]
    values: tuple[str, ...]


@dataclass(frozen=True)
class SheetShown:
    """What one table of a file would become.

    `rows` are the numbers of the rows shown, and whether each would be refused.
    """

    file: str
    sheet: str | None
    table: str
    columns: tuple[ColumnShown, ...]
    absent: tuple[str, ...]
    rows: tuple[tuple[int, bool], ...]
    refused: tuple[CauseShown, ...]
    doubts: tuple[CauseShown, ...]


@dataclass(frozen=True)
class Previewed:
    """What files would become; `number` names the upload for the form."""

    context: PageContext
    number: str
    sheets: tuple[SheetShown, ...]
    counts: tuple[Counts, ...]
    faults: tuple[str, ...]
    notes: tuple[str, ...]
    to_describe: tuple[tuple[int, str], ...]
    """Files that no known source writes: place in the upload, and name."""


@dataclass(frozen=True)
class HeadChoice:
    """A head of a file, its first cells, what is proposed for it (None: to be chosen) and chosen."""

    head: str
    examples: str
    proposed: str | None
    chosen: str


@dataclass(frozen=True)
class QuestionShown:
    """A question about a file; `chosen` is blank while it is open."""

    key: str
    text: str
    answers: tuple[str, ...]
    chosen: str


@dataclass(frozen=True)
class WordChoice:
    """A word of a column of codes, the code proposed for it, and the one chosen in its place."""

    key: str
    column: str
    word: str
    proposed: str
    chosen: str
    codes: tuple[str, ...]


@dataclass(frozen=True)
class Described:
    """A proposed source profile: what is chosen, what is open, what it does to the file's rows."""

    context: PageContext
    number: str
    """Of the held upload, for the form."""
    name: str
    file: str
    at: int
    """Its place in the upload."""
    table: str
    columns: tuple[str, ...]
    """What a head may be."""
    heads: tuple[HeadChoice, ...]
    words: tuple[WordChoice, ...]
    reads: tuple[str, ...]
    """How else the file is read: order of dates, header rows, footer, separators."""
    questions: tuple[QuestionShown, ...]
    effect: Previewed | None
    """None: something is open."""
    text: str
    """The profile as TOML."""
    fault: str | None

    @property
    def n_open(self) -> int:
        """Questions without an answer."""
        return sum(not question.chosen for question in self.questions) + sum(
            head.proposed is None and not head.chosen for head in self.heads
        )


@dataclass(frozen=True)
class SourceSaved:
    """A source profile that was stored; its file is still held."""

    context: PageContext
    number: str
    name: str
    version: int


@dataclass(frozen=True)
class CellField:
    """One cell of a row to correct, as a field of a form."""

    name: str
    """Of the field; heads of files are never trusted for it."""
    head: str
    value: str
    kind: str
    """Of the column, as in the catalogue; empty for a column of the file's own."""
    allowed: tuple[str, ...]
    hint: str
    required: bool
    wrong: bool


@dataclass(frozen=True)
class RowForm:
    """One refused row as a form."""

    context: PageContext
    number: int
    table: str
    file: str
    sheet: str | None
    row: int
    what: str
    """What is wrong and how to correct it, as it was sent or as it was just corrected."""
    tried: bool
    """The sentence is about what was just sent."""
    fields: tuple[CellField, ...]


@dataclass(frozen=True)
class RowCorrected:
    """A row that is off the list, and which one is next."""

    context: PageContext
    place: str
    used: bool
    """It was stored; else it was only taken off the list."""
    known_before: bool
    left: int
    next_number: int | None


@dataclass(frozen=True)
class CauseChoice:
    """A cause of refused rows that one correction can fix; `sentence` is what is wrong."""

    table: str
    column: str
    reason: str
    value: str | None
    sentence: str
    n_rows: int
    first_rows: tuple[str, ...]
    answers: tuple[tuple[str, str], ...]
    """What may be written and its words; none: any text."""


@dataclass(frozen=True)
class CauseEffect:
    """What one correction of all rows of a cause would do, or did; `ingests` undo it."""

    stored: int
    same_as_before: int
    refused: int
    ingests: tuple[int, ...] = ()


@dataclass(frozen=True)
class CausePage:
    """The page of one cause: what is chosen, what it would do, or what was done."""

    context: PageContext
    cause: CauseChoice | None
    written: str
    effect: CauseEffect | None
    done: bool


@dataclass(frozen=True)
class EntryDone:
    """A log entry that was voided, or that counts again."""

    context: PageContext
    row: int
    place: str
    voided: bool


@dataclass(frozen=True)
class TakenIn:
    """What became of files that were imported."""

    context: PageContext
    counts: tuple[Counts, ...]
    faults: tuple[str, ...]
    """Files of which nothing was imported: one sentence each."""
    notes: tuple[str, ...]
    refused: tuple[RefusedRow, ...]
    """The first of the rows that were refused now."""
    refused_left: int
    """Further ones."""
    to_describe: tuple[tuple[int, str], ...]
    """The same as in `Previewed`."""
    number: str = ""
    """Of the upload, if it is held to be described."""
