"""What was received, what has to be corrected and what is doubtful, as far as a person may see it?

A file may hold rows of any site. For a person who sees some sites alone, what came in is counted
by the rows of these sites, and a refused row is shown if it names a line, child, family or
caregiver of these sites and none of another: a row that names nobody known may be anybody's, so
only people who see all sites are shown it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping

import numpy as np
import orjson
import pandas as pd

from analysis.ingest.near import NearCodes
from analysis.ingest.reasons import Doubt
from analysis.ingest.refused import listed
from analysis.ingest.sentences import doubt_sentence, why
from analysis.measures.delays import delays
from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.tables import INCOMING, Records
from dashboard.addresses.incoming import IncomingChoice
from dashboard.evidence.queries import sources_of
from dashboard.evidence.views import Source
from dashboard.incoming.queries import cause
from dashboard.incoming.views import (
    Bringing,
    DoubtKind,
    FileRow,
    IncomingView,
    Paged,
    RefusedRow,
    Today,
)
from dashboard.security.roles import Reader, Right
from dashboard.session.frames import cells
from dashboard.session.views import PageContext

FILES_A_PAGE = 25
REFUSED_A_PAGE = 20
ROWS_A_DOUBT = 10
OWN_FORM = "our own form"
"""What rows without a source profile come from."""
CODES = ("line_id", "child_id", "family_id", "caregiver_id")
"""Columns whose codes belong to a site."""


def incoming_view(
    found: Snapshot,
    whole: Snapshot,
    store: Store,
    context: PageContext,
    reader: Reader,
    choice: IncomingChoice,
    bringing: Bringing | None,
) -> IncomingView:
    """Everything on the page; `found` is what this person may see of the `whole`."""
    files = _files(found, reader)
    files_paged, files_rows = _page(len(files), choice.files, FILES_A_PAGE)
    refused = refused_rows(found, whole, store, context, reader)
    refused_paged, refused_shown = _page(len(refused), choice.refused, REFUSED_A_PAGE)
    sees = reader.may(Right.ROWS_RECEIVED)
    corrects = reader.may(Right.CORRECT_ROWS)
    return IncomingView(
        context=context,
        today=_today(files, found),
        files=_file_rows(files.iloc[files_rows], found),
        files_paged=files_paged,
        refused=as_shown(refused.iloc[refused_shown], found, sees=sees),
        refused_paged=refused_paged,
        refused_kinds=_kinds(refused),
        causes=cause.choices(refused) if corrects and context.is_today else (),
        to_download=_by_table(refused) if corrects else (),
        delays=_delays(found),
        doubts=_doubts(found, store, reader, sees=sees),
        sees_rows=sees,
        corrects=corrects and context.is_today,
        bringing=bringing,
    )


def _page(total: int, asked: int, size: int) -> tuple[Paged, slice]:
    pages = max(1, -(-total // size))
    page = min(max(1, asked), pages)
    return Paged(page, pages, total), slice((page - 1) * size, page * size)


def _known_until(found: Snapshot) -> pd.Timestamp:
    return pd.Timestamp(found.known_at).tz_localize(None)


def _local(moments: pd.Series[pd.Timestamp], found: Snapshot) -> pd.Series[pd.Timestamp]:
    return moments.dt.tz_localize("UTC").dt.tz_convert(found.policy.zone)


# What arrived


def _files(found: Snapshot, reader: Reader) -> pd.DataFrame:
    """Tables with rows in files received by then, newest first; for some sites by their rows."""
    files = found.ingests[found.ingests["received_at"] <= _known_until(found)]
    if reader.sites is not None:
        files = _of_these_rows(files, found.records)
    else:
        most = files.groupby("ingest")["read"].transform("max").fillna(0)
        files = files[((files["read"].fillna(0) > 0) | (most <= 0)).to_numpy(dtype=bool)]
    return files.sort_values(["received_at", "ingest"], ascending=False, kind="stable")


def _of_these_rows(files: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Files with rows in force of these records, counted by them alone."""
    parts = []
    for table in INCOMING:
        of_table = files[files["table"] == table].sort_values("last_row")
        rows = getattr(records, table)["row"].to_numpy(dtype=np.int64)
        at = np.searchsorted(of_table["last_row"].to_numpy(dtype=np.int64), rows)
        brought = np.bincount(at, minlength=len(of_table))[: len(of_table)]
        blank = pd.array([pd.NA] * len(of_table), dtype="Int64")
        of_table = of_table.assign(
            stored=pd.array(brought, dtype="Int64"),
            read=blank,
            same_as_before=blank,
            refused=blank,
            doubts=blank,
        )
        parts.append(of_table[brought > 0])
    return pd.concat(parts)


def _today(files: pd.DataFrame, found: Snapshot) -> Today:
    days = _local(files["received_at"], found).dt.date
    today = files[(days == found.as_of).to_numpy(dtype=bool)]
    counts = {name: int(today[name].sum()) for name in ("read", "stored", "same_as_before")}
    return Today(
        files=int(today["ingest"].nunique()),
        **counts,
        refused=int(today["refused"].sum()),
        newest_file=None if files.empty else str(files["file"].iloc[0]),
        newest_on=None if files.empty else days.iloc[0],
    )


def _file_rows(files: pd.DataFrame, found: Snapshot) -> tuple[FileRow, ...]:
    files = files.assign(received_at=_local(files["received_at"], found))
    about = ("file", "source", "table", "received_at", "brought_by")
    counts = ("read", "stored", "same_as_before", "refused", "doubts")
    numbers = [tuple(_count(n) for n in row) for row in cells(files, *counts)]
    return tuple(
        FileRow(file, source or OWN_FORM, table, read, stored or 0, same, refused, doubts, at, who)
        for (file, source, table, at, who), (read, stored, same, refused, doubts) in zip(
            cells(files, *about), numbers, strict=True
        )
    )


def _count(cell: object) -> int | None:
    return None if cell is None else int(str(cell))


# How late


def _delays(found: Snapshot) -> pd.DataFrame:
    table = delays(found.records, found.ingests, found.policy, found.as_of)
    return table.assign(name=table["source"].fillna(OWN_FORM).astype(str))


# What has to be corrected


def refused_rows(
    found: Snapshot, whole: Snapshot, store: Store, context: PageContext, reader: Reader
) -> pd.DataFrame:
    """Refused rows on the list that a person may know of, those of the newest file first.

    On the day itself the list is the present one, which is what the command line shows.
    """
    rows = store.refused(None if context.is_today else found.known_at)
    if reader.sites is not None and len(rows):
        own, known = _codes(found.records), _codes(whole.records)
        mine = [
            _is_of(orjson.loads(row), own, known, reader.sites, table)
            for row, table in zip(rows["row"], rows["table"], strict=True)
        ]
        rows = rows[np.array(mine, dtype=bool)]
    return rows.sort_values(["ingest", "refused_row"], ascending=[False, True], kind="stable")


def _codes(records: Records) -> Mapping[str, frozenset[str]]:
    found = {name: frozenset(records.lines[name]) for name in ("line_id", "child_id", "family_id")}
    return {**found, "caregiver_id": frozenset(records.caregivers["caregiver_id"])}


def _is_of(
    row: Mapping[str, object],
    own: Mapping[str, frozenset[str]],
    known: Mapping[str, frozenset[str]],
    sites: Collection[object],
    table: str,
) -> bool:
    """Whether a row names somebody of these sites and nobody of others."""
    named = [(name, str(row[name])) for name in CODES if name in row]
    others = any(code in known[name] and code not in own[name] for name, code in named)
    here = any(code in own[name] for name, code in named)
    if table == "lines" and "site" in row:
        others = others or row["site"] not in sites
        here = here or row["site"] in sites
    return here and not others


def as_shown(rows: pd.DataFrame, found: Snapshot, *, sees: bool) -> tuple[RefusedRow, ...]:
    """Refused rows with how to correct them; their contents only for those who see rows."""
    what = listed(rows, NearCodes({name: found.records.lines[name] for name in CODES[:3]}))["fix"]
    rows = rows.assign(what=what, received_at=_local(rows["received_at"], found))
    names = ("refused_row", "table", "file", "sheet", "row_number", "column", "value", "what")
    return tuple(
        RefusedRow(
            int(number),
            table,
            file,
            sheet,
            int(row),
            column,
            value if sees else None,
            sentences,
            at.to_pydatetime(),
        )
        for number, table, file, sheet, row, column, value, sentences, at in cells(
            rows, *names, "received_at"
        )
    )


def _kinds(rows: pd.DataFrame) -> tuple[tuple[str, str, str, int], ...]:
    facts = cells(rows, "table", "column", "value", "reason")
    counted = Counter(
        (str(table), str(column or ""), why(table, column, value, reason))
        for table, column, value, reason in facts
    )
    return tuple((*kind, n) for kind, n in sorted(counted.items(), key=lambda c: (-c[1], c[0])))


def _by_table(rows: pd.DataFrame) -> tuple[tuple[str, int], ...]:
    counts = rows["table"].value_counts()
    return tuple((table, int(counts[table])) for table in INCOMING if table in counts)


# What is odd


def _doubts(found: Snapshot, store: Store, reader: Reader, *, sees: bool) -> tuple[DoubtKind, ...]:
    """Doubts about rows that this person may see, the most frequent first."""
    odd = store.doubts()
    parts = [
        odd[(odd["table"] == table) & odd["row"].isin(getattr(found.records, table)["row"])]
        for table in INCOMING
    ]
    odd = pd.concat(parts).sort_values("received_at", ascending=False, kind="stable")
    kinds = []
    for code, n in (
        odd["doubt"].value_counts().sort_index().sort_values(ascending=False, kind="stable").items()
    ):
        newest = odd[odd["doubt"] == code].head(ROWS_A_DOUBT)
        shown = _sources(newest, found, store, reader, sees=sees)
        earlier = {}
        if sees and code == Doubt.LOOKS_LIKE_CORRECTION:
            earlier = _earlier(newest, found, store, reader)
        kinds.append(DoubtKind(doubt_sentence(str(code)), int(n), shown, earlier))
    return tuple(kinds)


def _earlier(
    rows: pd.DataFrame, found: Snapshot, store: Store, reader: Reader
) -> dict[int, tuple[Source, ...]]:
    """The entries that some rows may correct."""
    pairs = store.corrections()
    pairs = pairs[pairs["row"].isin(rows["row"]).to_numpy(dtype=bool)]
    asked = [("home_log", int(row)) for row in pairs["earlier_row"]]
    sources = sources_of(asked, store, found, reader)
    earlier: dict[int, list[Source]] = {}
    for row, one in zip(pairs["row"], asked, strict=True):
        earlier.setdefault(int(row), []).append(sources[one])
    return {row: tuple(several) for row, several in earlier.items()}


def _sources(
    rows: pd.DataFrame, found: Snapshot, store: Store, reader: Reader, *, sees: bool
) -> tuple[Source, ...]:
    asked = [(str(table), int(row)) for table, row in cells(rows, "table", "row")]
    whole = sources_of(asked, store, found, reader) if sees else {}
    places = ("table", "row", "file", "sheet", "row_number", "received_at")
    bare = {
        (table, int(row)): Source(table, int(row), file, sheet, int(number), at, ())
        for table, row, file, sheet, number, at in cells(
            rows.assign(received_at=_local(rows["received_at"], found)), *places
        )
    }
    return tuple({**bare, **whole}[one] for one in dict.fromkeys(asked))
