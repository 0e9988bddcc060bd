"""How is one file imported: its tables in one transaction, with what it gave before?"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.again import Replaced, replaced_by_file, replaced_by_reading, voids
from analysis.ingest.checked import Checked, Source
from analysis.ingest.checking import check
from analysis.ingest.faults import IngestError, NotListedError, StillRefusedError
from analysis.ingest.fixed_ticks import unread_ticks
from analysis.ingest.history import History, conflicting_keys, known_before
from analysis.ingest.known_lines import NOTHING_REGISTERED, KnownLines
from analysis.ingest.limits import LEAST_OLD_ROWS, RECEIPT_AHEAD_MICROSECONDS
from analysis.ingest.notes import (
    deleted_note,
    footer_note,
    history_note,
    no_rows_note,
    read_again_note,
    receipts_corrected_note,
    skipped_note,
    unknown_columns_note,
    unticked_note,
)
from analysis.ingest.originals import originals
from analysis.ingest.profile import Profile
from analysis.ingest.raw import LogFile, Part, without_footer
from analysis.ingest.reading import fingerprint
from analysis.ingest.reasons import FileFault, Refusal
from analysis.ingest.sources import ORDER, no_other_fault, open_file, tables_of
from analysis.ingest.summary import Progress, TableCount
from analysis.ingest.unticked import Submissions
from analysis.policy import Policy
from analysis.store import FileBefore, FileInfo, Store, Writer
from analysis.tables.incoming import INCOMING

_Batch = TypeVar("_Batch")


@dataclass
class Report:
    """What is collected for the summary and the progress."""

    progress: Callable[[Progress], None] | None
    sizes: dict[LogFile, int]
    faults: list[IngestError]
    notes: list[str]
    tables: list[TableCount] = field(default_factory=list)
    bytes_before: int = 0

    def show(self, log: LogFile, rows: int, read_bytes: int) -> None:
        """Report how much of the present file is read."""
        if self.progress is not None:
            done = self.bytes_before + min(read_bytes, self.sizes.get(log, 0))
            self.progress(Progress(log.name, rows, done, sum(self.sizes.values())))

    def file_done(self, log: LogFile) -> None:
        """Count the file as done."""
        self.show(log, 0, self.sizes.get(log, 0))
        self.bytes_before += self.sizes.get(log, 0)


@dataclass
class _Tally:
    """Rows of one table so far."""

    read: int = 0
    stored: int = 0
    same_as_before: int = 0
    refused: int = 0
    doubts: int = 0
    old: int = 0

    def counts(self) -> dict[str, int]:
        """What is stored and shown of it."""
        return {name: n for name, n in self.__dict__.items() if name != "old"}


@dataclass
class FileRun:
    """The import of one file."""

    store: Store
    log: LogFile
    policy: Policy
    profile: Profile
    table: str | None
    received_at: int
    ingested_at: int
    report: Report
    brought_by: str | None = None
    fixing: int | None = None
    history: bool = False
    zone_is_set: bool = True
    watch: Callable[[Checked], None] | None = None
    before: FileBefore | None = None
    rows: int = 0
    n_footer: int = 0
    n_unticked: int = 0
    read_bytes: int = 0

    def counts(self) -> list[TableCount]:
        """Store the file; rows of each of its tables and what became of them."""
        before = _state(self.log.path)
        with self.log.path.open("rb") as stream:
            sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        info = FileInfo(
            name=self.log.name,
            sha256=sha256,
            size=before[0],
            source=self.profile.name,
            received_at=self.received_at,
            ingested_at=self.ingested_at,
            brought_by=self.brought_by,
            history=int(self.history) or None,
        )
        self.before = self.store.file_before(info.sha256, info.name)
        unwatched = self.watch is None
        if unwatched and self.before is not None and self._would_be_the_same(self.before):
            self.report.notes.append(skipped_note(info.name))
            return _filled(
                TableCount(info.name, c.table, c.read, 0, c.read, 0, c.doubts)
                for c in self.before.counts
            )
        with no_other_fault(self.log):
            opened = open_file(self.log, self.profile, self.table)
        notes = list(opened.notes)
        if any(self._is_read_differently(part.table) for part in opened.parts):
            notes.append(read_again_note(info.name))
        with self.store.writing(info) as writer:
            n_ahead = self._correct_receipts(writer)
            if n_ahead:
                notes.append(receipts_corrected_note(info.name, n_ahead))
            if self.fixing is not None and not writer.is_listed(self.fixing):
                raise NotListedError
            tallies = {t: self._table(t, opened.parts, writer) for t in tables_of(opened.parts)}
            for table, tally in tallies.items():
                writer.count(
                    table,
                    **tally.counts(),
                    reading=self._reading(table),
                    unknown_heads=_unknown_heads(opened.parts, table),
                )
            if _state(self.log.path) != before:
                raise IngestError(FileFault.CHANGED_MEANWHILE, info.name)
        if writer.n_of_deleted:
            notes.append(deleted_note(info.name, writer.n_of_deleted))
        notes += _notes(opened.parts, tallies)
        if self.n_footer:
            notes.append(footer_note(info.name, self.n_footer))
        if self.n_unticked:
            notes.append(unticked_note(info.name, self.n_unticked))
        self.report.notes += notes
        return _filled(TableCount(info.name, t, **n.counts()) for t, n in tallies.items())

    def _would_be_the_same(self, before: FileBefore) -> bool:
        """Whether reading an unchanged file again can give nothing new."""
        tables = {count.table for count in before.counts}
        return (
            before.source == self.profile.name
            and before.latest_receipt <= self.ingested_at + RECEIPT_AHEAD_MICROSECONDS
            and before.history >= self.history
            and bool(tables)
            and self.table in {None, *tables}
            and not any(count.refused for count in before.counts)
            and not any(self._is_read_differently(table) for table in tables)
        )

    def _correct_receipts(self, writer: Writer) -> int:
        """Rows of these bytes that were received in the future by a wrong clock are received now."""
        latest = self.ingested_at + RECEIPT_AHEAD_MICROSECONDS
        if self.before is None or self.before.latest_receipt <= latest:
            return 0
        return writer.correct_receipts(self.before.files, latest, self.ingested_at)

    def _reading(self, table: str) -> str:
        return fingerprint(table, self.profile, self.policy)

    def _is_read_differently(self, table: str) -> bool:
        """Whether the file was ingested before and its rows of a table are read otherwise now."""
        if self.before is None:
            return False
        readings = {count.table: count.reading for count in self.before.counts}
        return readings.get(table) != self._reading(table)

    def _table(self, table: str, parts: Sequence[Part], writer: Writer) -> _Tally:
        """Store the rows of one table from all sheets that hold it."""
        known = KnownLines.of(writer.registry() if table != "lines" else NOTHING_REGISTERED)
        history = History(writer, self.policy, known)
        tally, submissions = _Tally(), Submissions()
        checked_rows = _one_ahead(self._checked([p for p in parts if p.table == table], known))
        for checked, replaced in self._replacing(checked_rows, table, known, writer):
            unread_ticks(checked, writer)
            history.mark(checked, replaced.earlier_keys())
            if self.watch is not None:
                self.watch(checked)
            self._store(checked, replaced, writer, tally)
            submissions.add(checked)
            self.report.show(self.log, self.rows, self.read_bytes)
        self.n_unticked += submissions.void_unticked(writer)
        return tally

    def _replacing(
        self, batches: Iterator[Checked], table: str, known: KnownLines, writer: Writer
    ) -> Iterator[tuple[Checked, Replaced]]:
        """Each batch with the earlier versions of its rows that have other keys."""
        if table != "home_log":
            batches = iter(_registry_order(list(batches)))
        if self.before is not None and self._is_read_differently(table):
            every = list(batches)
            replaced = replaced_by_file(every, self.before, writer, table) if every else []
            yield from zip(every, replaced, strict=True)
            return
        unknown = writer.unknown_heads(table) if table == "home_log" else []
        for checked in batches:
            if unknown:
                yield checked, replaced_by_reading(checked, known, writer, unknown)
            else:
                yield checked, Replaced.nothing(len(checked))

    def _store(self, checked: Checked, replaced: Replaced, writer: Writer, tally: _Tally) -> None:
        """Hand a batch to the store: usable rows, and the others with what is wrong."""
        table = checked.source.part.table
        doubts = checked.doubts.texts()
        doubts[checked.withdrawals] = None
        rows = checked.stored_form(pa.array(doubts, pa.string()))
        n_refused = len(checked) - rows.num_rows
        tally.read += len(checked)
        tally.refused += n_refused
        tally.old += checked.n_old
        tally.doubts += rows.num_rows - rows["doubts"].null_count
        rows = self._new_rows(rows, replaced.of(checked.faults.usable), writer, table)
        tally.same_as_before += len(checked) - n_refused - rows.num_rows
        if table != "home_log":
            rows = rows.take(pc.sort_indices(rows["received_at"]))
        before = writer.n_of_deleted
        added = writer.add(table, rows)
        tally.read -= writer.n_of_deleted - before
        for cells in originals(checked) if added.stored else ():
            writer.keep_originals(table, checked.source.part.sheet, cells)
        tally.stored += added.stored
        tally.same_as_before += added.same_as_before
        if n_refused:
            refused = checked.refused_form()
            if self.fixing is not None:
                first = (
                    refused.select(["column", "value", "reason", "further"])
                    .slice(0, 1)
                    .to_pylist()[0]
                )
                raise StillRefusedError(**first)
            before = writer.n_of_deleted
            writer.refuse(refused)
            tally.refused -= writer.n_of_deleted - before
            tally.read -= writer.n_of_deleted - before

    def _new_rows(self, rows: pa.Table, replaced: Replaced, writer: Writer, table: str) -> pa.Table:
        """Rows that may add something; what only an earlier reading of the file gave goes."""
        known = np.zeros(rows.num_rows, np.bool_)
        if self.before is not None:
            own = rows["key"].combine_chunks()
            found = known_before(rows, own, writer, table, self.before)
            known = found.changed_since
            if self.before.history >= self.history:  # else each row gets an earlier receipt
                known |= found.stored
            if replaced.any:
                as_before = known_before(rows, replaced.keys(own), writer, table, self.before)
                changed = as_before.changed_since & replaced.rows
                writer.add(table, voids(rows, replaced.where(~changed)))
                known |= changed
        if replaced.any:
            rows = replaced.named(rows)
        return rows.filter(pa.array(~known)) if known.any() else rows

    def _checked(self, parts: Sequence[Part], known: KnownLines) -> Iterator[Checked]:
        for part in parts:
            source = Source(
                part,
                self.profile,
                self.policy,
                self.received_at,
                self.ingested_at,
                history=self.history,
                zone_is_set=self.zone_is_set,
            )
            footer = self.profile.table(part.table).footer
            for batch in _one_ahead(_only_damage(part.batches(), self.log)):
                self.read_bytes += batch.read_bytes
                raw = without_footer(batch, footer)
                self.rows += len(raw.row_numbers)
                self.n_footer += len(batch.row_numbers) - len(raw.row_numbers)
                if len(raw.row_numbers):
                    yield check(raw, source, known)


def _filled(counts: Iterable[TableCount]) -> list[TableCount]:
    """Counts of tables with rows; all of them where no table has any."""
    every = list(counts)
    return [count for count in every if count.read] or every


def _state(path: Path) -> tuple[int, int]:
    about = path.stat()
    return about.st_size, about.st_mtime_ns


def _one_ahead(batches: Iterator[_Batch]) -> Iterator[_Batch]:
    """Make the next batch while this one is processed: read, check and store at the same time."""
    with ThreadPoolExecutor(1) as pool:
        pending = pool.submit(next, batches, None)
        while (batch := pending.result()) is not None:
            pending = pool.submit(next, batches, None)
            yield batch


def _only_damage(batches: Iterator[_Batch], log: LogFile) -> Iterator[_Batch]:
    """The same batches; what goes wrong in reading them is damage of the file."""
    while True:
        with no_other_fault(log):
            batch = next(batches, None)
        if batch is None:
            return
        yield batch


def _registry_order(batches: list[Checked]) -> list[Checked]:
    """Refuse rows of a registry that contradict each other."""
    if not batches:
        return []
    for checked, conflict in zip(batches, conflicting_keys(batches), strict=True):
        key = INCOMING[checked.source.part.table].key
        checked.faults.mark(conflict, key[-1], Refusal.DUPLICATE_KEY)
    return batches


def _unknown_heads(parts: Sequence[Part], table: str) -> set[str]:
    return {head for p in parts if p.table == table for head in p.heads.unknown.values()}


def _notes(parts: Sequence[Part], tallies: dict[str, _Tally]) -> list[str]:
    """Notes on unknown columns, past years, and a file without a row."""
    notes = []
    for part in sorted(parts, key=lambda p: ORDER[p.table]):
        if part.heads.unknown:
            heads = list(part.heads.unknown.values())
            notes.append(unknown_columns_note(part.file, part.table, heads))
        tally = tallies[part.table]
        if tally.stored and tally.old > max(LEAST_OLD_ROWS, tally.read // 2):
            notes.append(history_note(part.file, part.table, tally.old, tally.read))
    if parts and not any(tally.read for tally in tallies.values()):
        notes.append(no_rows_note(parts[0].file, sorted(tallies, key=ORDER.__getitem__)))
    return notes
