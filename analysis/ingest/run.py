"""How are files imported into the store: each whole or not at all?"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache, partial
from pathlib import Path

from analysis.ingest.checked import Checked
from analysis.ingest.faults import IngestError
from analysis.ingest.file_run import FileRun, Report
from analysis.ingest.limits import RECEIPT_AHEAD_MICROSECONDS
from analysis.ingest.profile import Profile
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault
from analysis.ingest.recognise import profile_of
from analysis.ingest.sources import as_ingest_error, find_files
from analysis.ingest.summary import IngestSummary, Progress
from analysis.policy import Policy
from analysis.store import Store
from analysis.tables.incoming import INCOMING
from analysis.unfinished import temporary_folder

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def ingest(
    store: Store,
    paths: Iterable[str | Path | LogFile] | str | Path | LogFile,
    policy: Policy,
    profile: Profile | None = None,
    table: str | None = None,
    received_at: datetime | None = None,
    progress: Callable[[Progress], None] | None = None,
    *,
    ingested_at: datetime | None = None,
    brought_by: str | None = None,
    fixing: int | None = None,
    history: bool = False,
    zone_is_set: bool = True,
    watch: Callable[[Checked], None] | None = None,
    sources: Sequence[Profile] = (),
) -> IngestSummary:
    """Read files and folders into the store.

    Parameters
    ----------
    store : Store
        Where rows go. Each file is one transaction.
    paths : path, LogFile or iterable of them
        Files and folders; a `LogFile` where a file is stored under another name. Registry tables are read before logs in any case.
    policy : Policy
        Gives the time zone in which days are counted and the known codes.
    profile : Profile, optional
        How the source writes.
    table : str, optional
        The table that every file holds, where names and header rows do not show it.
    received_at : datetime, optional
        When the clinic got rows without a receipt of their own; UTC where it has no offset.
        Default: the time of ingest.
    progress : callable, optional
        Called with a `Progress` after every batch and file.
    ingested_at : datetime, optional
        The time of ingest, if not now.
    brought_by : str, optional
        Code of the person who uploaded them; None: the command line.
    fixing : int, optional
        Number of the refused row that the file's only row fixes: if that is not on the list, or
        the row is refused again, nothing is stored.

    history : bool
        The files are history loaded at the start: rows without a receipt of their own count as
        received on the day they were done, which is stored as an assumption.
    zone_is_set : bool
        Whether the programme's time zone was set; else a file is refused that has a moment whose
        day depends on it.
    sources : sequence of Profile
        Known sources: where no profile is named, a file that has the heads of one is read by it,
        and one that has most of them is held.
    watch : callable, optional
        Called with each batch after all checks; files that were ingested before and have not
        changed are then read all the same.

    Returns
    -------
    IngestSummary
        Counts by file and table; a file that could not be used is among its `faults` and
        nothing of it is stored; the others are imported.

    Raises
    ------
    IngestError
        `table` is no table, or `received_at` is more than 5 minutes later than the time of ingest.
    StoreError
        The store can't be written to.
    StillRefusedError, NotListedError
        See `fixing`.
    """
    if table is not None and table not in INCOMING:
        raise IngestError(FileFault.TABLE_UNKNOWN, f"--table {table}")
    now = present_moment() if ingested_at is None else _microseconds(ingested_at)
    received = now if received_at is None else _microseconds(received_at)
    if received > now + RECEIPT_AHEAD_MICROSECONDS:
        raise IngestError(
            FileFault.RECEIPT_AHEAD, f"--received-at {_shown(received)}", now=_shown(now)
        )
    choose = lru_cache(maxsize=None)(partial(profile_of, profile=profile, known=tuple(sources)))
    named = [paths] if isinstance(paths, str | Path | LogFile) else paths
    with temporary_folder() as folder:
        found = find_files(
            [p if isinstance(p, LogFile) else Path(p) for p in named], choose, Path(folder)
        )
        report = Report(progress, _sizes(found.files), list(found.faults), list(found.notes))
        for log in found.files:
            try:
                run = FileRun(
                    store,
                    log,
                    policy,
                    choose(log),
                    table,
                    received,
                    now,
                    report,
                    brought_by,
                    fixing,
                    history=history,
                    zone_is_set=zone_is_set,
                    watch=watch,
                )
                report.tables += run.counts()
            except IngestError as fault:
                report.faults.append(fault)
            except OSError as fault:
                report.faults.append(as_ingest_error(fault, log.name))
            report.file_done(log)
        return IngestSummary(tuple(report.tables), tuple(report.faults), tuple(report.notes))


def present_moment() -> int:
    """The time by this computer's clock, microseconds UTC."""
    return time.time_ns() // 1000


def _shown(moment: int) -> str:
    return f"{_EPOCH + timedelta(microseconds=moment):%Y-%m-%dT%H:%MZ}"


def _microseconds(moment: datetime) -> int:
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return (aware - _EPOCH) // timedelta(microseconds=1)


def _sizes(files: Sequence[LogFile]) -> dict[LogFile, int]:
    return {log: log.path.stat().st_size for log in files if log.path.exists()}
