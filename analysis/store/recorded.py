"""What do people record in a store: calls, arrangements, notes on the rates, the policy?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

import pandas as pd

from analysis.days import day_number
from analysis.policy import Policy, load_policy
from analysis.store import (
    arrangements,
    calls,
    known,
    policies,
    rate_notes,
    signal_acts,
    source_profiles,
)
from analysis.store.database import Database
from analysis.store.faults import StoreError
from analysis.store.instants import microseconds
from analysis.store.source_profiles import StoredSource
from analysis.vocabulary import Arrangement, CallOutcome, SignalState


class Recorded:
    """The part of a store that people write to by themselves; `Store` has all of it.

    Every method raises `StoreError`, one sentence for a user, when the database can't be used.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    # The policy

    def policy(self) -> Policy | None:
        """The policy that was set last; None: none was set."""
        with self._database.reading() as connection:
            return policies.newest(connection)

    def policy_text(self) -> str | None:
        """The policy that was set last, as its file has it; None: none was set."""
        with self._database.reading() as connection:
            return policies.newest_text(connection)

    def policy_for(self, file: Path | None) -> Policy:
        """The policy of a file, else the one that was set, else the shipped one.

        Raises
        ------
        StoreError
            The file counts days in another time zone than the store.
        PolicyError
            The file is not a policy.
        """
        stored = self.policy()
        if file is None:
            return stored or load_policy()
        given = load_policy(file)
        if stored is not None and given.time_zone != stored.time_zone:
            raise StoreError(
                policies.OTHER_ZONE.format(stored=stored.time_zone, given=given.time_zone)
            )
        return given

    def policies(self) -> pd.DataFrame:
        """Every policy that was set, with who set it and when; see `policies.POLICIES`."""
        with self._database.reading() as connection:
            return policies.every(connection)

    def set_policy(
        self, text: str, file: str, made_by: str, made_at: datetime, *, redate: bool = False
    ) -> int:
        """Set the programme's policy and time zone; returns how many rows got another day.

        Parameters
        ----------
        text, file : str
            The policy file and its full path.
        made_by : str
            Who sets it.
        made_at : datetime
            UTC where it has no offset.
        redate : bool
            Date all moments again where they lie on other days in the policy's zone. A moment
            that was sent without an offset was read in the zone of its time; send it again.

        Raises
        ------
        StoreError
            Rows are dated in another zone and `redate` is not asked for.
        PolicyError
            The text is not a policy.
        """
        at = microseconds(made_at)
        with self._database.writing() as connection:
            return policies.add(connection, text, file, made_by, at, redate=redate)

    # Source profiles

    def source_profiles(self) -> list[StoredSource]:
        """Every version of every source profile, oldest first."""
        with self._database.reading() as connection:
            return source_profiles.every(connection)

    def set_source_profile(self, name: str, text: str, made_by: str, made_at: datetime) -> int:
        """Store a source profile under its name; returns its version, from 1.

        Parameters
        ----------
        name, text : str
            Name of the source, and its profile as TOML; the caller has checked it.
        made_by : str
            Who stores it.
        made_at : datetime
            UTC where it has no offset.
        """
        with self._database.writing() as connection:
            return source_profiles.add(connection, name, text, made_by, microseconds(made_at))

    # Calls

    def record_call(
        self,
        family_id: str,
        called_by: str,
        outcome: CallOutcome,
        agreed: str | None,
        recheck_on: date | None,
        called_at: datetime,
        called_on: date | None = None,
        note: str | None = None,
        form: str | None = None,
    ) -> int:
        """Record a call to a family at the moment of the call; returns its row.

        Parameters
        ----------
        family_id, called_by : str
            Codes of the family and of the person who called.
        outcome : CallOutcome
            Whether the family was reached.
        agreed : str or None
            What was agreed.
        recheck_on : date or None
            Day from which the family is on the list again; None: the policy's default.
        called_at : datetime
            UTC where it has no offset.
        called_on : date, optional
            Its day in the programme's zone; without it the UTC date.
        note : str, optional
            Anything else.
        form : str, optional
            What tells the form that was filled in from any other.

        Raises
        ------
        RecordedBeforeError
            The same person sent this form before; nothing was added.
        """
        call = calls.NewCall(
            family_id, called_by, outcome, called_at, called_on, agreed, recheck_on, note
        )
        return self.record_calls([call], called_by, called_at, form=form)[0]

    def record_calls(
        self,
        new: Sequence[calls.NewCall],
        recorded_by: str,
        recorded_at: datetime,
        form: str | None = None,
    ) -> list[int]:
        """Record calls, all of them or none; returns their rows.

        Parameters
        ----------
        new : sequence of NewCall
            The calls.
        recorded_by : str
            Who records them; not always the person who called.
        recorded_at : datetime
            UTC where it has no offset.
        form : str, optional
            What tells the form that was filled in from any other of the person.

        Raises
        ------
        RecordedBeforeError, RecordedSinceError, CallExistsError
            As in `calls.record`; nothing was added.
        """
        at = microseconds(recorded_at)
        with self._database.writing() as connection:
            return [
                calls.record(
                    connection, call, recorded_by, at, form and f"{form} {n}" if n else form
                )
                for n, call in enumerate(new)
            ]

    def undo_call(self, row: int, made_by: str, made_at: datetime) -> None:
        """Undo a recorded call from `made_at` on; all versions stay stored.

        Raises
        ------
        StoreError
            There is no such call, or it was undone already.
        """
        with self._database.writing() as connection:
            calls.undo(connection, row, made_by, microseconds(made_at))

    def all_calls(self, family_id: str | None = None) -> pd.DataFrame:
        """Every call ever recorded, of one family or all; see `calls.ALL_CALLS`."""
        with self._database.reading() as connection:
            return calls.every(connection, family_id)

    def acts(self, known_at: datetime | None = None) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Calls and arrangements known at a moment, as in :meth:`records`, without the rest."""
        at = None if known_at is None else microseconds(known_at)
        with self._database.reading() as connection:
            return known.calls(connection, at), known.arrangements_in_force(connection, at)

    # Arrangements

    def arrange(
        self,
        kind: Arrangement,
        family_id: str,
        made_by: str,
        made_at: datetime,
        made_on: date,
        assigned_to: str | None = None,
        until_on: date | None = None,
        why: str | None = None,
        form: str | None = None,
    ) -> int:
        """Record what somebody arranged about a family; returns its row.

        Parameters
        ----------
        kind : Arrangement
            Assigned (to `assigned_to`), or postponed (until `until_on`).
        family_id, made_by : str
            Codes of the family and of who arranged it.
        made_at : datetime
            UTC where it has no offset.
        made_on : date
            Its day in the programme's zone.
        assigned_to : str, optional
            Who makes the next call.
        until_on : date, optional
            Day from which the family is on the list again.
        why : str, optional
            Why it is postponed.
        form : str, optional
            What tells the form that was filled in from any other.

        Raises
        ------
        RecordedBeforeError
            The same person sent this form before; nothing was added.
        """
        with self._database.writing() as connection:
            return arrangements.record(
                connection,
                family_id=family_id,
                made_by=made_by,
                made_at=microseconds(made_at),
                made_on=day_number(made_on),
                kind=str(kind),
                assigned_to=assigned_to,
                until_on=None if until_on is None else day_number(until_on),
                why=why,
                form=form,
            )

    def undo_arrangement(self, row: int, made_by: str, made_at: datetime) -> None:
        """Undo an arrangement from `made_at` on; both stay stored.

        Raises
        ------
        StoreError
            There is no such arrangement, or it was undone already.
        """
        with self._database.writing() as connection:
            arrangements.undo(connection, row, made_by, microseconds(made_at))

    def all_arrangements(self, family_id: str | None = None) -> pd.DataFrame:
        """Every arrangement ever made, of one family or all; see `arrangements.ALL_ARRANGEMENTS`."""
        with self._database.reading() as connection:
            return arrangements.every(connection, family_id)

    # Signals

    def act_on_signal(
        self,
        event: str,
        site: str,
        state: SignalState,
        *,
        owner: str | None,
        note: str | None,
        strength: float,
        made_by: str,
        made_at: datetime,
    ) -> int:
        """Write a step of the work on a signal; returns its row.

        Parameters
        ----------
        event, site : str
            Which signal; ``all`` for the programme.
        state : SignalState
            From then on.
        owner : str or None
            Staff code of who looks into it from then on; None: nobody.
        note : str or None
            What was found or done.
        strength : float
            Logarithm of the statistic by then: a closed signal comes back if it grows.
        made_by : str
            Staff code of who writes it.
        made_at : datetime
            UTC where it has no offset.
        """
        with self._database.writing() as connection:
            return signal_acts.add(
                connection,
                event=event,
                site=site,
                state=str(state),
                owner=owner,
                note=note,
                strength_thousandths=round(1000 * max(strength, 0.0)),
                made_by=made_by,
                made_at=microseconds(made_at),
            )

    def signal_acts(self, known_at: datetime | None = None) -> pd.DataFrame:
        """Work on signals written by an instant, None: all; see `signal_acts.SIGNAL_ACTS`."""
        at = None if known_at is None else microseconds(known_at)
        with self._database.reading() as connection:
            return signal_acts.known(connection, at)

    # Annotations

    def annotate(
        self, on_day: date, text: str, site: str | None, made_by: str, made_at: datetime
    ) -> int | None:
        """Write an annotation of the rates; returns its row, None where the same is there already.

        Parameters
        ----------
        on_day : date
            Day that it speaks of.
        text : str
            What happened.
        site : str or None
            The site it speaks of; None: all of them.
        made_by : str
            Staff code of who writes it.
        made_at : datetime
            UTC where it has no offset.
        """
        with self._database.writing() as connection:
            return rate_notes.add(
                connection,
                on_day=day_number(on_day),
                text=text,
                site=site,
                made_by=made_by,
                made_at=microseconds(made_at),
            )

    def withdraw_annotation(self, row: int, made_by: str, made_at: datetime) -> None:
        """Withdraw an annotation from `made_at` on; both stay stored.

        Raises
        ------
        StoreError
            There is no such annotation, or it was withdrawn already.
        """
        with self._database.writing() as connection:
            rate_notes.withdraw(connection, row, made_by, microseconds(made_at))

    def annotations(self, known_at: datetime | None = None) -> pd.DataFrame:
        """Annotations written by an instant, None: all; see `rate_notes.ANNOTATIONS`."""
        at = None if known_at is None else microseconds(known_at)
        with self._database.reading() as connection:
            return rate_notes.known(connection, at)
