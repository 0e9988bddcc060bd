"""Which rows are odd only when compared with earlier rows?"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.days import day_number
from analysis.ingest.checked import Checked
from analysis.ingest.identity import given_up
from analysis.ingest.known_lines import KnownLines, positions
from analysis.ingest.reasons import Doubt
from analysis.policy import Policy
from analysis.store import FileBefore
from analysis.vocabulary import EntryKind

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

_LIKE = ["line_id", "done_on", "kind"]
_DAYS = 1 << 21
"""Factor that puts the days of different lines on one axis."""


class EarlierRows(Protocol):
    """What the store knows about rows of earlier files."""

    def versions(self, table: str, keys: pa.Array) -> pa.Table:
        """Key, content, received_at, file (and family_id of the home log) of versions of keys."""

    def connector_days(self, line_ids: pa.Array, first_day: int, last_day: int) -> pa.Table:
        """Line and day (line_id, done_on) of stored connector changes of some lines."""

    def entries_like(self, line_ids: pa.Array, days: pa.Array) -> pa.Table:
        """Entries without a number of their own of some lines on some days."""


@dataclass
class History:
    """Marks the doubts that depend on earlier rows; batches come in file order.

    Connector changes are compared with those of earlier files, of earlier batches and of the
    same batch; versions with those of earlier files and the same batch.
    """

    earlier: EarlierRows
    policy: Policy
    known: KnownLines
    _repeated: set[bytes] = field(default_factory=set)
    _connector: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    _asked: tuple[int, int] | None = None

    def mark(self, checked: Checked, replaced: Collection[bytes] = ()) -> None:
        """Mark the doubts of a batch; `replaced` are keys that its rows take the place of."""
        rows = checked.accepted
        live = checked.faults.usable & ~checked.withdrawals
        if checked.source.part.table == "home_log":
            self._mark_connectors(rows, live, checked)
            named = np.asarray(rows["entry_id"].combine_chunks().is_valid())
            self._mark_versions(rows, live & named, checked)
            self._mark_corrections(rows, live & ~named, checked, replaced)
        else:
            self._mark_versions(rows, live, checked)

    def _mark_connectors(self, rows: pa.Table, live: Mask, checked: Checked) -> None:
        """Mark connectors changed sooner than the policy of that day allows."""
        is_change = pc.equal(rows["kind"], str(EntryKind.CONNECTOR_CHANGE)).fill_null(False)
        there = pc.and_(is_change, pc.and_(rows["line_id"].is_valid(), rows["done_on"].is_valid()))
        at = np.flatnonzero(np.asarray(there) & live & ~np.asarray(rows["void"]))
        if not len(at):
            return
        taken = rows.select(["line_id", "done_on"]).take(pa.array(at)).combine_chunks()
        line_ids = _flat(taken["line_id"])
        day = np.asarray(taken["done_on"]).astype(np.int64)
        least = self._connector_min_days(day)
        place = positions(line_ids, self.known.line_ids) * _DAYS + day
        self._fetch_connectors(int(day.min() - least.max()), int(day.max()))
        self._connector = axis = np.sort(np.concatenate([self._connector, place]))
        before = np.searchsorted(axis, place) - 1
        previous = axis[np.maximum(before, 0)]
        same_line = (before >= 0) & (previous // _DAYS == place // _DAYS)
        too_soon = np.zeros(len(live), np.bool_)
        too_soon[at] = same_line & (place - previous < least)
        checked.doubts.mark(too_soon, Doubt.CONNECTOR_TOO_SOON)

    def _mark_corrections(
        self, rows: pa.Table, open_rows: Mask, checked: Checked, replaced: Collection[bytes]
    ) -> None:
        """Mark new entries without a number that look like corrections of earlier ones.

        Such is an entry of the same line, day and kind as one of an earlier file, which this file
        does not repeat, at the same time of day, or at another one where this file repeats other
        entries of that line and day: then it is an export that would have the earlier one as well.
        """
        open_rows = open_rows & ~np.asarray(rows["void"])
        for name in ("line_id", "done_on", "kind"):
            open_rows &= np.asarray(rows[name].combine_chunks().is_valid())
        at = np.flatnonzero(open_rows)
        if not len(at):
            return
        taken = rows.select([*_LIKE, "done_at", "content"]).take(pa.array(at)).combine_chunks()
        stored = self.earlier.entries_like(_flat(taken["line_id"]), _flat(taken["done_on"]))
        if not stored.num_rows:
            return
        mine = taken.to_pandas().assign(at=at)
        before = stored.select([*_LIKE, "done_at", "content"]).to_pandas()
        before = before[~before["content"].isin(set(replaced))]
        is_new = ~mine["content"].isin(set(before["content"])).to_numpy(dtype=bool)
        self._repeated |= set(mine.loc[~is_new, "content"])
        repeated = before["content"].isin(self._repeated).to_numpy(dtype=bool)
        exported = before.loc[repeated, ["line_id", "done_on"]].drop_duplicates()
        exported = exported.assign(exported=True)
        # One row a new entry and an earlier one like it that the file lacks.
        like = mine[is_new].merge(before[~repeated], on=_LIKE, suffixes=("", "_before"))
        like = like.merge(exported, on=["line_id", "done_on"], how="left")
        timed = like["done_at"].notna() & like["done_at_before"].notna()
        other_time = timed & (like["done_at"] != like["done_at_before"])
        found = like.loc[~other_time | like["exported"].notna(), "at"]
        marked = np.zeros(len(checked), np.bool_)
        marked[found.to_numpy()] = True
        checked.doubts.mark(marked, Doubt.LOOKS_LIKE_CORRECTION)

    def _fetch_connectors(self, first: int, last: int) -> None:
        """Add stored changes of all lines on days that were not read yet: each day once."""
        wanted = [(first, last)]
        if self._asked is not None:
            low, high = self._asked
            wanted = [(first, low - 1), (high + 1, last)]
            first, last = min(first, low), max(last, high)
        for start, end in wanted:
            if start <= end:
                found = self.earlier.connector_days(self.known.line_ids, start, end)
                line = positions(_flat(found["line_id"]), self.known.line_ids)
                place = line * _DAYS + np.asarray(found["done_on"]).astype(np.int64)
                self._connector = np.concatenate([self._connector, place[line >= 0]])
        self._asked = first, last

    def _connector_min_days(self, day: Ints) -> Ints:
        """Least days between connector changes by the edition in force on each day."""
        editions = self.policy.editions
        starts = [day_number(e.effective_from) for e in editions]
        at = np.maximum(np.searchsorted(np.array(starts), day, side="right") - 1, 0)
        return np.array([e.settings.connector_min_days for e in editions], np.int64)[at]

    def _mark_versions(self, rows: pa.Table, live: Mask, checked: Checked) -> None:
        """Mark rows that go back to an older version, and entries that change the family."""
        table = checked.source.part.table
        at = np.flatnonzero(live & np.asarray(rows["key"].combine_chunks().is_valid()))
        if not len(at):
            return
        wanted = ["key", "content", "received_at"]
        wanted += ["family_id"] if table == "home_log" else []
        mine = rows.select(wanted).take(pa.array(at)).combine_chunks()
        stored = self.earlier.versions(table, _flat(mine["key"]))
        if not stored.num_rows and not _may_repeat(_flat(mine["key"])):
            return
        n_stored = stored.num_rows
        together = pa.concat_tables(
            [stored.select(wanted).cast(mine.schema), mine]
        ).combine_chunks()
        odd = _odd_versions(together)
        for doubt, where in odd.items():
            marked = np.zeros(len(live), np.bool_)
            marked[at] = where[n_stored:]
            checked.doubts.mark(marked, doubt)


def _may_repeat(keys: pa.Array) -> bool:
    """Whether two keys start alike; such as do not are surely different."""
    first = np.frombuffer(keys.buffers()[1], np.uint64)[2 * keys.offset :: 2][: len(keys)]
    ordered = np.sort(first)
    return bool((ordered[1:] == ordered[:-1]).any())


def _odd_versions(versions: pa.Table) -> dict[Doubt, Mask]:
    """Compare each version with the one in force when it came; rows are in the order of storing."""
    key, content = _numbers(versions["key"]), _numbers(versions["content"])
    received = np.asarray(versions["received_at"])
    # One entry a version, those of a key together and in the order in which they held.
    order = np.lexsort((np.arange(len(key)), received, key))
    key, content = key[order], content[order]
    follows = np.zeros(len(key), np.bool_)
    follows[1:] = key[1:] == key[:-1]
    differs = np.zeros(len(key), np.bool_)
    differs[1:] = follows[1:] & (content[1:] != content[:-1])
    pair = key * (content.max() + 1) + content
    _, first, which = np.unique(pair, return_index=True, return_inverse=True)
    again = first[which] < np.arange(len(key))
    found = {Doubt.OLDER_VERSION: differs & again}
    if "family_id" in versions.column_names:
        family = _numbers(versions["family_id"].fill_null(""))[order]
        named = np.asarray(versions["family_id"].combine_chunks().is_valid())[order]
        moves = np.zeros(len(key), np.bool_)
        moves[1:] = follows[1:] & (family[1:] != family[:-1]) & named[1:] & named[:-1]
        found[Doubt.MOVES_FAMILY] = moves
    back = np.empty_like(order)
    back[order] = np.arange(len(order))
    return {doubt: where[back] for doubt, where in found.items()}


@dataclass(frozen=True)
class Before:
    """What is known of the rows of a file that is read again unchanged; arrays of shape (n,).

    `stored`: the row is stored as it is, and was not voided because the file was read in another
    way in between. `changed_since`: another file changed its key after this one was first received;
    a file that has not changed must not undo that.
    """

    stored: Mask
    changed_since: Mask


def known_before(
    rows: pa.Table, keys: pa.Array, earlier: EarlierRows, table: str, before: FileBefore
) -> Before:
    """Compare rows of a file that is read again unchanged with what is stored.

    Parameters
    ----------
    rows : pa.Table
        Rows in stored form, with `content`.
    keys : pyarrow array of 16 bytes, shape (n,)
        The key under which each row is stored so far; of a blank one nothing is known.
    earlier : EarlierRows
        The store's rows of earlier files.
    table : str
        Incoming table.
    before : FileBefore
        The earlier ingests of the file.
    """
    named = np.asarray(keys.is_valid())
    stored = earlier.versions(table, keys.filter(pa.array(named)))
    if not stored.num_rows:
        return Before(np.zeros(len(named), np.bool_), np.zeros(len(named), np.bool_))
    n = len(named)
    key = _numbers(pa.concat_arrays([keys, _flat(stored["key"].cast(keys.type))]))
    contents = _flat(rows["content"]), _flat(stored["content"].cast(keys.type))
    content = _numbers(pa.concat_arrays(contents))
    pair = key * (content.max() + 1) + content
    later = np.asarray(stored["received_at"]) >= before.received_at
    later &= ~np.isin(np.asarray(stored["file"]), before.files)
    changed_since = np.isin(key[:n], key[n:][later]) & named
    was_stored = np.isin(pair[:n], pair[n:]) & ~np.isin(key[:n], key[n:][_given_up(stored)])
    # Where one of several rows of a key is new, those after it have to follow it again.
    was_stored &= named & ~np.isin(key[:n], key[:n][~was_stored & ~changed_since])
    return Before(was_stored, changed_since)


def _given_up(stored: pa.Table) -> Mask:
    """Newest versions of keys that only an earlier reading of a file gave (see `again`)."""
    received = np.asarray(stored["received_at"])
    order = np.lexsort((np.arange(len(received)), received, key := _numbers(stored["key"])))
    last = np.append(key[order][1:] != key[order][:-1], True)
    newest = order[last]
    marks = given_up(stored["key"].take(pa.array(newest)).to_pylist())
    found = np.zeros(len(received), np.bool_)
    found[newest] = [
        content == mark
        for content, mark in zip(
            stored["content"].take(pa.array(newest)).to_pylist(), marks, strict=True
        )
    ]
    return found


def conflicting_keys(batches: list[Checked]) -> list[Mask]:
    """Rows of a registry that differ although their key and receipt are the same.

    Parameters
    ----------
    batches : list of Checked
        All batches of one table of one file.

    Returns
    -------
    list of bool arrays
        One per batch; a row without a known key is in no conflict.
    """
    usable = np.concatenate(
        [
            b.faults.usable & ~b.withdrawals & np.asarray(b.accepted["key"].is_valid())
            for b in batches
        ]
    )
    rows = pa.concat_tables([b.accepted.select(["key", "content", "received_at"]) for b in batches])
    at = np.flatnonzero(usable)
    rows = rows.take(pa.array(at))
    key, content = _numbers(rows["key"]), _numbers(rows["content"])
    received = np.unique(np.asarray(rows["received_at"]), return_inverse=True)[1]
    moment = key * (received.max(initial=0) + 1) + received
    order = np.lexsort((content, moment))
    moment, content = moment[order], content[order]
    starts = np.ones(len(moment), np.bool_)
    starts[1:] = moment[1:] != moment[:-1]
    group = np.cumsum(starts) - 1
    differs = np.zeros(len(moment), np.bool_)
    differs[1:] = ~starts[1:] & (content[1:] != content[:-1])
    torn = np.bincount(group, weights=differs, minlength=1)[group] > 0 if len(group) else differs
    conflict = np.zeros(len(usable), np.bool_)
    conflict[at[order]] = torn
    ends = np.cumsum([len(b) for b in batches])
    return np.split(conflict, ends[:-1])


def _numbers(column: Any) -> Ints:
    """Distinct values as numbers in order of appearance."""
    flat = _flat(column) if isinstance(column, pa.ChunkedArray) else column
    return np.asarray(flat.dictionary_encode("encode").indices).astype(np.int64)


def _flat(column: pa.ChunkedArray) -> pa.Array:
    if column.num_chunks == 1:
        return column.chunk(0)
    return pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], column.type)
