"""Who may sign in, who is signed in, and who viewed what? All access to these tables."""

from __future__ import annotations

import contextlib
from collections.abc import Hashable, Sequence
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from typing import Any

import pandas as pd
import sqlalchemy as sa

from analysis.store import accesses, passwords, sign_ins, users, visits
from analysis.store.faults import StoreError
from analysis.store.instants import microseconds
from analysis.store.sign_ins import OpenSignIn
from analysis.store.signing_in import SigningIn
from analysis.store.users import User
from analysis.store.visits import SeenBefore
from analysis.vocabulary import Access, Role

NOT_LONGER_THAN_SECONDS = 0.2
"""A page does not wait longer for another writer only to note that its sign-in was used."""


class People(SigningIn):
    """Users, their sign-ins and the access record of one store; moments are arguments.

    Every method raises `StoreError`, one sentence for a user, when the database can't be used.
    """

    # Users

    def add(
        self,
        code: str,
        password: str,
        role: Role,
        at: datetime,
        *,
        by: str,
        sites: Sequence[str] | None = None,
        families: bool = False,
        caseload: str | None = None,
    ) -> None:
        """Add a user.

        Parameters
        ----------
        code : str
            Staff code, as it is shown with recorded calls.
        password : str
            At least `passwords.LEAST_CHARACTERS` characters; only its hash is kept.
        role : Role
            Which pages it may see.
        at : datetime
            UTC where it has no offset.
        sites : sequence of str, optional
            Sites whose families it may see; None: all.
        families : bool
            Whether single families are granted beyond the role.
        caseload : str, optional
            Code of the nurse in the line registry whose families this person calls; None: the
            staff code, for a nurse.
        by : str
            Who adds it, for the access record.

        Raises
        ------
        StoreError
            There is an active user of this code, code or password do not do, or the role has no
            caseload.
        """
        users.checked_code(code)
        caseload = users.checked_caseload(caseload, code, role)
        password_hash = passwords.hashed(password)
        passwords.refuse_easy(password, code)
        with self._database.noting() as connection:
            users.add(connection, code, password_hash, role, sites, families, caseload, at)
            accesses.note(connection, by, Access.ADDED_USER, None, f"{code}: {role}", at)

    def end(self, code: str, at: datetime, *, by: str) -> None:
        """Let a user in no more, at once; its records stay.

        Raises
        ------
        StoreError
            There is no active user of this code.
        """
        with self._database.noting() as connection:
            users.change(connection, code, active=0, ended_at=microseconds(at))
            accesses.note(connection, by, Access.ENDED_USER, None, code, at)
        with self._apart.noting() as connection:
            sign_ins.end_all_of(connection, code, at)

    def set_password(self, code: str, password: str, at: datetime, *, by: str) -> None:
        """Give a user a new password; its sign-ins end.

        Raises
        ------
        StoreError
            There is no active user of this code, or the password does not do.
        """
        password_hash = passwords.hashed(password)
        passwords.refuse_easy(password, code)
        with self._database.noting() as connection:
            users.change(connection, code, password_hash=password_hash)
            accesses.note(connection, by, Access.SET_PASSWORD, None, code, at)
        with self._apart.noting() as connection:
            sign_ins.end_all_of(connection, code, at)

    def unlock(self, code: str, at: datetime, *, by: str) -> None:
        """Let a user sign in without waiting after wrong passwords.

        Raises
        ------
        StoreError
            There is no active user of this code.
        """
        with self._database.noting() as connection:
            users.change(connection, code, active=1)
            accesses.note(connection, by, Access.UNLOCKED_USER, None, code, at)
        with self._apart.noting() as connection:
            sign_ins.forget_failures(connection, code)

    def all(self) -> list[User]:
        """Every user by code, also the ended ones."""
        with self._database.reading() as connection:
            return users.all_of(connection)

    # Sign-ins

    def signed_in(self, token: str, at: datetime, *, uses: bool, server: str = "") -> User | None:
        """The user whose sign-in this is; None when it ended or never was.

        Parameters
        ----------
        token : str
            What the browser shows.
        at : datetime
            The present moment.
        uses : bool
            Whether somebody does something, so that the sign-in stays open. A page that asks
            by itself does not use it.
        server : str
            Where the request arrived: a sign-in at another server does not hold here.
        """
        apart = self._apart
        found = sign_ins.holder(apart, token, at, server)
        if found is None:
            return None
        user, due = found
        if uses and due:
            with (
                contextlib.suppress(StoreError),  # busy with a long file: noted the next time
                apart.noting(NOT_LONGER_THAN_SECONDS) as connection,
            ):
                sign_ins.note_use(connection, token, at)
        return user

    def sign_out(self, token: str, at: datetime) -> None:
        """End a sign-in; one that has ended is passed by."""
        with self._apart.noting() as connection:
            code = sign_ins.end(connection, token, at)
            if code is not None:
                accesses.note(connection, code, Access.SIGNED_OUT, None, None, at)
        self.bring_over()

    def open_sign_ins(self, at: datetime, code: str | None = None) -> list[OpenSignIn]:
        """Sign-ins that still hold, the newest first; of a user, None: of everybody."""
        with self._apart.reading() as connection:
            return sign_ins.open_ones(connection, code, at)

    def refused_tries(self, at: datetime) -> int:
        """How many attempts to sign in failed or had to wait within the last day."""
        with self._apart.reading() as connection:
            return sign_ins.failures_since(connection, at - timedelta(days=1))

    def end_sign_ins(self, code: str, at: datetime, *, by: str, number: str | None = None) -> None:
        """End the open sign-ins of a user, or the one with a number.

        Raises
        ------
        StoreError
            There is no such user, or no open sign-in with the number.
        """
        with self._database.reading() as connection:
            users.check_active(connection, code)
        with self._apart.noting() as connection:
            if number is None:
                sign_ins.end_all_of(connection, code, at)
            elif not sign_ins.end_one_of(connection, code, number, at):
                raise StoreError(
                    f"{code} has no open sign-in {number}. List them: linedays user sign-ins"
                )
            accesses.note(connection, by, Access.ENDED_SIGN_INS, None, code, at)

    # The access record

    def note(
        self,
        who: str,
        what: Access,
        at: datetime,
        *,
        family_id: str | None = None,
        about: str | None = None,
    ) -> None:
        """Add an act to the access record; the same look within ten minutes counts once."""
        act = (who, what, family_id, about, at)
        if accesses.noted_just_before(self._apart, *act):  # most looks are: nobody has to wait
            return
        self.bring_over()
        try:
            with self._to_record() as connection:
                accesses.note(connection, *act)
        except StoreError:  # busy with a long file
            with self._apart.noting() as connection:
                accesses.note(connection, *act)

    def _to_record(self) -> AbstractContextManager[sa.Connection]:
        """A connection that adds to the record at once, or raises."""
        if self._database.is_sqlite:
            return self._database.noting(wait_seconds=0)
        return self._apart.noting()

    def opened_by_others(
        self, family_id: str, but: str, at: datetime
    ) -> list[tuple[str, datetime]]:
        """Who else than one person opened a family a moment ago; see `accesses.opened_by_others`."""
        return accesses.opened_by_others(self._apart, family_id, but, at)

    # Pages of a person

    def seen_before(
        self, code: str, page: str, at: datetime, seen: bytes, *, looks: bool = True
    ) -> SeenBefore | None:
        """What a person saw on a page before this visit; what it shows now is noted.

        Parameters
        ----------
        code, page : str
            Who looks, and at what.
        at : datetime
            The present moment.
        seen : bytes
            What the page shows now, to be compared with on the next visit.
        looks : bool
            Somebody looks; False: a page asks by itself, and nothing is noted.

        Returns
        -------
        SeenBefore or None
            None: the person has not been there before.
        """
        before, values = visits.seen_before(self._database, code, page, at, seen)
        if values and looks:
            self._keep(code, page, **values)
        return before

    def mark_seen(self, code: str, page: str, at: datetime, seen: bytes) -> None:
        """Compare with what a page shows now from now on."""
        now = microseconds(at)
        with self._database.noting() as connection:
            visits.keep(connection, code, page, seen_at=now, seen=seen, before_at=now, before=seen)

    def choice(self, code: str, page: str) -> str | None:
        """How a person last set up a page, as the query of its address; None: never."""
        return visits.choice(self._database, code, page)

    def keep_choice(self, code: str, page: str, query: str) -> None:
        """Remember how a person set up a page."""
        if self.choice(code, page) != query:
            self._keep(code, page, choice=query)

    def _keep(self, code: str, page: str, **values: Any) -> None:
        with (
            contextlib.suppress(StoreError),  # busy with a long file: noted the next time
            self._database.noting(NOT_LONGER_THAN_SECONDS) as connection,
        ):
            visits.keep(connection, code, page, **values)

    def accesses_version(self) -> Hashable:
        """What another takes the place of whenever an act was added to the access record."""
        return accesses.state(self._apart)

    def accesses(
        self, most: int | None = None, acts_of: accesses.ActsOf = accesses.ALL_ACTS
    ) -> pd.DataFrame:
        """The access record, newest first, at most so many rows; see `accesses.ACCESSES`."""
        with self._apart.reading() as connection:
            return accesses.newest(connection, most, acts_of)
