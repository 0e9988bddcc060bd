"""The command that records calls: those of a file, or one."""

from __future__ import annotations

import getpass
from datetime import UTC, datetime
from pathlib import Path

import typer

from analysis.cli.loading import with_progress
from analysis.cli.nearest import check_known
from analysis.cli.opening import opened, policy_of, tried
from analysis.cli.options.lists import CallsRecord
from analysis.errors import UsageError, UserError
from analysis.ingest import ingest
from analysis.ingest.refused import listed
from analysis.policy import Policy
from analysis.store import NewCall, Store
from analysis.vocabulary import CallOutcome
from analysis.words import counted

TABLE = "calls"


class NotRecordedError(UserError):
    """Calls of a file cannot be recorded as they are; one sentence for a user."""

    exit_code = 1


def record(asked: CallsRecord) -> None:
    """Record the calls of a file, or the one that the options describe."""
    one = (asked.family, asked.by, asked.outcome)
    if asked.file is not None and any(part is not None for part in one):
        raise UsageError("Name a file or describe one call by options, not both.")
    if asked.file is None and None in one:
        raise UsageError(
            "Name a file of calls, or describe one call: --family, --by and --outcome are needed."
        )
    if asked.file is not None:
        _check(asked, asked.file)
    with opened(asked.store) as store:
        policy = policy_of(store, asked.policy)
        if asked.file is None:
            message = _record_one(store, policy, asked)
        else:
            message = _record_file(store, policy, asked.file)
    typer.echo(f"linedays: {message}", err=True)


def _check(asked: CallsRecord, file: Path) -> None:
    """Go on only where every row of the file can be stored.

    Raises
    ------
    NotRecordedError
        Rows would be refused, or the file cannot be read; nothing was stored.
    """
    with tried(asked.store) as store:
        found = ingest(store, [file], policy_of(store, asked.policy), table=TABLE)
        wrong = listed(store.refused()) if found.refused else None
    if found.faults:
        raise NotRecordedError(f"No call was recorded. {found.faults[0]}")
    if wrong is not None:
        mine = wrong.tail(found.refused)
        about = (mine[name] for name in ("row", "column", "value", "fix"))
        rows = [
            f"Row {row}, {column} {value!r}: {fix}"
            for row, column, value, fix in zip(*about, strict=True)
        ]
        raise NotRecordedError(f"No call was recorded. {file.name}: {' '.join(rows)}")


def _record_file(store: Store, policy: Policy, file: Path) -> str:
    summary = with_progress(store, [file], policy, table=TABLE)
    recorded = sum(table.stored for table in summary.tables)
    before = sum(table.same_as_before for table in summary.tables)
    again = f"; {counted(before, 'call was', 'calls were')} recorded before" if before else ""
    return f"{counted(recorded, 'call', 'calls')} recorded{again}."


def _record_one(store: Store, policy: Policy, asked: CallsRecord) -> str:
    now = datetime.now(UTC)
    family, by, outcome = str(asked.family), str(asked.by), CallOutcome(str(asked.outcome))
    check_known("family", [family], [*store.records().lines["family_id"]])
    at = now if asked.at is None else asked.at
    at = at.replace(tzinfo=policy.zone) if at.tzinfo is None else at
    if at > now:
        raise UsageError(f"The call can't be in the future: {at:%Y-%m-%d %H:%M} is later than now.")
    on = at.astimezone(policy.zone).date()
    if asked.back_on is not None and asked.back_on < on:
        raise UsageError(f"--back-on {asked.back_on} is before the day of the call, {on}.")
    call = NewCall(family, by, outcome, at, on, agreed=asked.agreed, recheck_on=asked.back_on)
    store.record_calls([call], getpass.getuser(), now, form=f"command {now.timestamp()}")
    return f"Call to {family} recorded."
