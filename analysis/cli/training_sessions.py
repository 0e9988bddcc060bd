"""Commands on training sessions: which are planned, who came, and planning those of a file."""

from __future__ import annotations

import csv
import getpass
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path

import typer

from analysis.cli.opening import opened, policy_of, snapshot_of, today
from analysis.cli.options.sessions import SessionAttendance, Sessions, SessionsPlan
from analysis.cli.output import show
from analysis.decisions.training_sessions import SessionError, attendance, checked
from analysis.errors import UserError
from analysis.store import Change
from analysis.tables import Records
from analysis.tables.training_sessions import SessionPlan
from analysis.vocabulary import SessionState
from analysis.words import counted

LISTS = ("skills", "held_by", "family_ids", "caregiver_ids")


class NotPlannedError(UserError):
    """Sessions of a file cannot be planned as they are; one sentence for a user."""

    exit_code = 1


def sessions(asked: Sessions) -> None:
    """List the sessions."""
    with opened(asked.store) as store:
        seen = snapshot_of(store, asked)
        found = store.sessions.known(seen.known_at)
    show(found.drop(columns=["row", "made_at"]), asked)


def came(asked: SessionAttendance) -> None:
    """List who was invited and who came."""
    with opened(asked.store) as store:
        seen = snapshot_of(store, asked)
        found = store.sessions.known(seen.known_at)
    show(attendance(found, seen.records), asked)


def plan(asked: SessionsPlan) -> None:
    """Plan or change the sessions of a file."""
    with opened(asked.store) as store:
        policy, records = policy_of(store, asked.policy), store.records()
        changes = [
            _change(row, number, records, today(policy))
            for number, row in enumerate(_rows(asked.file), 2)
        ]
        now = datetime.now(UTC)
        store.sessions.record(changes, getpass.getuser(), now, form=f"command {now.timestamp()}")
    new = sum(change.session is None for change in changes)
    done = f"{counted(new, 'session', 'sessions')} planned, {len(changes) - new} changed."
    typer.echo(f"linedays: {done}", err=True)


def _rows(file: Path) -> list[Mapping[str, object]]:
    try:
        with file.open(encoding="utf-8-sig", newline="") as stream:
            rows: list[Mapping[str, object]] = list(csv.DictReader(stream))
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise NotPlannedError(f"{file.name} cannot be read as CSV: {fault}.") from None
    if not rows:
        raise NotPlannedError(f"{file.name} holds no session.")
    return rows


def _change(row: Mapping[str, object], number: int, records: Records, on: date) -> Change:
    """A row of the file as a change.

    Raises
    ------
    NotPlannedError
        It does not fit; nothing was stored.
    """
    cells = {name: cell.strip() for name, cell in row.items() if isinstance(cell, str)}

    def text(name: str) -> str | None:
        return cells.get(name) or None

    def codes(name: str) -> tuple[str, ...]:
        return tuple(c.strip() for c in cells.get(name, "").split(";") if c.strip())

    try:
        held_on = _day(cells.get("held_on", ""))
        state = _state(cells.get("state") or SessionState.PLANNED)
        session = cells.get("session", "")
        if session and not session.isdecimal():
            raise SessionError("session", "Leave it blank for a new session.")
        lists = {name: codes(name) for name in LISTS}
        lists["skills"] = lists["skills"] or ("dressing_change",)
        one = SessionPlan(
            held_on, text("starts_at"), text("venue"), text("language"), **lists, state=state
        )
        return Change(checked(one, records, on), int(session) if session else None)
    except SessionError as fault:
        raise NotPlannedError(
            f"No session was planned. Row {number}, {fault.field} "
            f"{cells.get(fault.field, '')!r}: {fault}"
        ) from None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise SessionError("held_on", "Write the day as YYYY-MM-DD.") from None


def _state(text: str) -> SessionState:
    try:
        return SessionState(text)
    except ValueError:
        known = ", ".join(SessionState)
        raise SessionError("state", f"Write one of {known}.") from None
