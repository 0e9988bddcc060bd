"""Which table does a file or sheet hold, and which of our columns is each of its columns?"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from analysis.ingest.days import are_days
from analysis.ingest.faults import IngestError
from analysis.ingest.profile import Profile, TableProfile, Tick
from analysis.ingest.reasons import FileFault
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW

KIND = "kind"
"""The column of the home log that holds what an entry is."""
REFUSED_ROW = "refused_row"
"""Header under which a corrected file names the refused row that a row replaces."""
REFUSED_WHY = ("refused_reason", "refused_why")
"""Headers of a corrected file for its reader; ingest ignores them."""

GUARDED = r"^'([=@+-])"
"""A cell with a quotation mark in front, so that no spreadsheet program computes it."""

_ALIKE = re.compile(r"[\s\-_]+")
_WORDS = re.compile(r"[^a-z0-9]+|(?<=[a-z])(?=[0-9])")


def alike(head: str) -> str:
    """Form in which two heads are the same: no case, spaces, dashes or underscores.

    Examples
    --------
    >>> alike("Line-ID") == alike("line_id")
    True
    """
    return _ALIKE.sub("", head).casefold()


def joined_heads(rows: Sequence[Sequence[str]]) -> list[str]:
    """One head a column from several header rows.

    A blank cell of an upper row repeats the one to its left, as merged cells mean it.

    Examples
    --------
    >>> joined_heads([["Line", "", "Skin"], ["no", "type", ""]])
    ['Line no', 'Line type', 'Skin']
    """
    width = max((len(row) for row in rows), default=0)
    filled = [[*(cell.strip() for cell in row), *[""] * (width - len(row))] for row in rows]
    for row in filled[:-1]:
        for at in range(1, width):
            row[at] = row[at] or row[at - 1]
    return [" ".join(filter(None, column)) for column in zip(*filled, strict=True)]


@dataclass(frozen=True)
class Heads:
    """What each column of a sheet is, by position.

    `columns` are ours (with `received_at`, `void` and `refused_row`), `ticks` each mean one
    code, `unknown` are kept with the row under their own head, `nameless` have no head;
    `written` are the heads of `columns` and `ticks` as they are in the file.
    """

    table: str
    width: int
    columns: Mapping[int, str]
    ticks: Mapping[int, Tick]
    unknown: Mapping[int, str]
    nameless: Mapping[int, str]
    written: Mapping[int, str] = field(default_factory=dict)
    times: Mapping[int, str] = field(default_factory=dict)
    """Columns with the time of day of a moment: the column of the moment."""
    entries: Mapping[int, Tick] = field(default_factory=dict)
    """Columns that each mean one kind of entry: a row is an entry for each that is ticked."""
    days: Mapping[int, str] = field(default_factory=dict)
    """Columns of a day each, whose cells are entries of that day: the day as written."""


def table_of_name(name: str) -> str | None:
    """Return the table that a file or sheet name names, such as ``home_log-2031-03``.

    Examples
    --------
    >>> table_of_name("Sign-offs 2031"), table_of_name("stay notes of a ward")
    ('sign_offs', None)
    """
    words = [w for w in _WORDS.split(name.casefold()) if w]
    starts = {"".join(words[:n]) for n in range(1, len(words) + 1)}
    named = [table for table in INCOMING if table.replace("_", "") in starts]
    return named[0] if named else None


def table_of_sheet(
    names: Sequence[str], head: Sequence[str], profile: Profile, file: str
) -> str | None:
    """Find the table from the profile's patterns, then the names, then the header row.

    Parameters
    ----------
    names : sequence of str
        Sheet name first, file name (without its ending) after it.
    head : sequence of str
        Cells of the first row.
    profile : Profile
        The source's profile.
    file : str
        For sentences.

    Returns
    -------
    str or None
        None: not found.

    Raises
    ------
    IngestError
        Several tables fit equally well.
    """
    for name in names:
        claimed = profile.tables_named(name)
        if len(claimed) > 1:
            raise IngestError(
                FileFault.TABLE_AMBIGUOUS, file, what=f'"{name}"', tables=" and ".join(claimed)
            )
        if claimed:
            return claimed[0]
    for name in names:
        named = table_of_name(name)
        if named is not None:
            return named
    return _table_of_head(head, file)


def table_of_header(
    head_of: Callable[[TableProfile], Sequence[str]], profile: Profile
) -> str | None:
    """Return the first table of the profile whose recorded header the sheet has."""
    for table, looks in profile.tables.items():
        given = {alike(cell) for cell in lasting(head_of(looks), looks, profile)} - {""}
        if looks.header and {alike(head) for head in looks.header} == given:
            return table
    return None


def is_our_form(head: Sequence[str]) -> bool:
    """Whether a head row has all heads that one of our tables needs."""
    given = {alike(cell) for cell in head}
    return any(not _missing(table, given, set()) for table in INCOMING)


def table_of_profile_heads(
    head_of: Callable[[TableProfile], Sequence[str]], profile: Profile
) -> str | None:
    """Return the first table of the profile whose own headers are all where it expects them.

    Parameters
    ----------
    head_of : callable
        Gives the head cells of the sheet read by a table's profile.
    profile : Profile
        The source's profile.
    """
    for table, looks in profile.tables.items():
        given = {alike(cell) for cell in head_of(looks)}
        if looks.heads and {alike(head) for head in looks.heads} <= given:
            return table
    return None


def _table_of_head(head: Sequence[str], file: str) -> str | None:
    given = {alike(h) for h in head}
    fits: dict[str, int] = {}
    for table, entry in INCOMING.items():
        if not _missing(table, given, set()):
            fits[table] = sum(alike(c.name) in given for c in entry.columns)
    best = [t for t in fits if fits[t] == max(fits.values())]
    if len(best) > 1:
        raise IngestError(
            FileFault.TABLE_AMBIGUOUS, file, what="its head row", tables=" and ".join(best)
        )
    return best[0] if best else None


def _missing(table: str, given: set[str], elsewhere: set[str]) -> list[str]:
    """Heads that a table needs and that are neither given nor filled by the profile."""
    entry = INCOMING[table]
    have = {c.name for c in entry.columns if alike(c.name) in given} | elsewhere
    needed = [c.name for c in entry.columns if c.required]
    if table == "home_log" and not {"line_id", "family_id"} & have:
        needed.insert(0, "line_id")
    missing = [name for name in needed if name not in have]
    voids = "void" in given and all(name in have for name in entry.key)
    return [] if voids else missing


def match_heads(head: Sequence[str], table: str, profile: Profile, file: str) -> Heads:
    """Find our columns in a head row.

    Parameters
    ----------
    head : sequence of str
        Cells of the header row, outer spaces removed; several header rows joined.
    table : str
        The table the sheet holds.
    profile : Profile
        Its heads, ticks and fixed values for the table count as well.
    file : str
        For sentences.

    Returns
    -------
    Heads
        The place of every column.

    Raises
    ------
    IngestError
        Two heads are the same column, or a head that the table needs is missing.
    """
    looks = profile.table(table)
    if looks.header:
        check_header(head, looks, profile, file)
    ours = {alike(c.name): c.name for c in (*INCOMING[table].columns, *ON_EVERY_ROW)}
    ours |= {alike(name): name for name in (REFUSED_ROW, *REFUSED_WHY)}
    theirs = {alike(h): column for h, column in looks.heads.items()}
    ticked = {alike(t.head): t for t in looks.ticks}
    columns: dict[int, str] = {}
    ticks: dict[int, Tick] = {}
    entries: dict[int, Tick] = {}
    clocks = {alike(head): column for column, head in looks.times.items()}
    unknown: dict[int, str] = {}
    times: dict[int, str] = {}
    days: dict[int, str] = {}
    is_day = are_days(head, profile.dates) if looks.day_columns else [False] * len(head)
    nameless: dict[int, str] = {}
    seen: dict[str, str] = {column: f"{column} of the source profile" for column in looks.filled}
    for at, cell in enumerate(head):
        key = alike(cell)
        if not key:
            nameless[at] = f"column {at + 1}"
            continue
        if is_day[at]:
            days[at] = cell
            continue
        column = theirs.get(key) or ours.get(key)
        name = column or (ticked[key].head if key in ticked else key)
        if name in seen:
            raise IngestError(
                FileFault.HEADS_TWICE, file, first=seen[name], second=cell, column=column or cell
            )
        seen[name] = cell
        if column is not None:
            columns[at] = column
        elif key in ticked:
            (entries if ticked[key].column == KIND else ticks)[at] = ticked[key]
        elif key in clocks:
            times[at] = clocks[key]
        else:
            unknown[at] = cell
    _no_head_missing(table, profile, columns, {**ticks, **entries}, file, head)
    columns = {at: c for at, c in columns.items() if c not in REFUSED_WHY}
    written = {at: head[at] for at in (*columns, *ticks, *entries, *times)}
    return Heads(table, len(head), columns, ticks, unknown, nameless, written, times, entries, days)


def lasting(head: Sequence[str], looks: TableProfile, profile: Profile) -> list[str]:
    """Heads that are the same in every file of a source: those of days are not."""
    if not looks.day_columns:
        return list(head)
    is_day = are_days(head, profile.dates)
    return [cell for cell, day in zip(head, is_day, strict=True) if not day]


def check_header(head: Sequence[str], looks: TableProfile, profile: Profile, file: str) -> None:
    """Hold a file whose heads are not those that the source had when it was described.

    Raises
    ------
    IngestError
        A head is missing or new.
    """
    given = {alike(cell): cell for cell in lasting(head, looks, profile) if alike(cell)}
    known = {alike(cell): cell for cell in looks.header}
    ours = {alike(name) for name in (REFUSED_ROW, *REFUSED_WHY)}
    if given.keys() - ours != known.keys():
        raise IngestError(
            FileFault.HEADS_CHANGED,
            file,
            source=profile.name,
            gone=[known[key] for key in known if key not in given],
            added=[given[key] for key in given if key not in known],
        )


def _no_head_missing(
    table: str,
    profile: Profile,
    columns: Mapping[int, str],
    ticks: Mapping[int, Tick],
    file: str,
    head: Sequence[str],
) -> None:
    filled = set(profile.table(table).filled) | {t.column for t in ticks.values()}
    missing = _missing(table, {alike(c) for c in columns.values()}, filled)
    if not missing:
        return
    try:
        other = _table_of_head(head, file)
    except IngestError:
        other = None
    raise IngestError(
        FileFault.HEADS_MISSING,
        file,
        table=table,
        missing=missing,
        other=other if other != table else None,
    )
