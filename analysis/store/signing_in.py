"""How does a person sign in, with a password and perhaps a second factor, and change these?"""

from __future__ import annotations

import contextlib
import threading
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import sqlalchemy as sa

from analysis.store import (
    accesses,
    passwords,
    provider_users,
    second_factor,
    secret_key,
    sign_ins,
    users,
)
from analysis.store.database import Database
from analysis.store.faults import StoreError
from analysis.store.provider_users import ProviderUser
from analysis.store.sign_in_file import SignInFile, apart
from analysis.vocabulary import Access

_SECOND = timedelta(seconds=1)


@dataclass(frozen=True)
class SignIn:
    """What became of an attempt to sign in."""

    token: str | None
    """What the browser shows from now on; None: refused."""
    wait_seconds: int = 0
    """How long to wait after too many wrong passwords; nothing was compared."""
    needs_code: bool = False
    """The password is right, and the code of the second factor is still to come."""


@dataclass(frozen=True)
class _Compared:
    """What a password was: right at an attempt, or not."""

    attempt: int | None
    """None: it was wrong, or had to wait."""
    wait_seconds: int = 0
    password_hash: str | None = None


class SigningIn:
    """What a person does to sign in; moments are arguments."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._opened: Database | None = None
        self._opening = threading.Lock()
        self._key_file: Path | None = None
        if database.is_sqlite:
            store = Path(database.engine.url.database or "")
            self._key_file = store.with_name(secret_key.FILE_NAME)

    @property
    def _apart(self) -> Database:
        """Where sign-ins and acts are recorded without waiting for a long file."""
        with self._opening:
            found = self._opened
            if found is None or (isinstance(found, SignInFile) and not found.is_current):
                self.close()
                found = self._opened = apart(self._database)
            return found

    def close(self) -> None:
        """Let go of what was opened; a later use opens it again."""
        if self._opened is not None:
            self._opened.let_go()

    def use_key(self, key_file: Path | None) -> None:
        """Encrypt second factors with the key of a file; None: one next to an SQLite store.

        Those that an earlier version stored as they are become encrypted too.
        """
        self._key_file = key_file or self._key_file
        if self._key_file is None:
            return
        with self._database.reading() as connection:
            if not second_factor.any_plain(connection):
                return
        with self._database.noting() as connection:
            if self._database.is_sqlite:  # what they were is overwritten, not only let go of
                connection.exec_driver_sql("PRAGMA secure_delete=ON").close()
            second_factor.encrypt_all(connection, self._key_file)

    def sign_in(
        self, code: str, password: str, address: str, at: datetime, *, server: str = ""
    ) -> SignIn:
        """Try to sign in; `address` is where the request comes from, `server` where it arrived.

        Wrong passwords for one code make its next attempt wait, longer and longer. What is
        answered is the same for an unknown user as for a wrong password.
        """
        compared = self._compare(code, password, address, at)
        if compared.attempt is None:
            return SignIn(None, compared.wait_seconds)
        with self._apart.noting() as connection:
            if users.password_hash(connection, code) != compared.password_hash:
                return SignIn(None)  # ended, or changed, a moment ago
            if second_factor.is_asked_of(connection, code):
                sign_ins.forget_attempt(connection, compared.attempt)
                return SignIn(None, needs_code=True)
            token = _begun(connection, compared.attempt, code, address, at, server)
        self.bring_over()
        return SignIn(token)

    def sign_in_with_code(
        self, code: str, typed: str, address: str, at: datetime, *, server: str = ""
    ) -> SignIn:
        """The second step, for a user whose password was right a moment ago.

        Wrong codes make the next attempt wait as wrong passwords do.
        """
        with self._apart.noting() as connection:
            wait = sign_ins.still_to_wait(connection, code, at)
            if wait:
                sign_ins.note_waiting(connection, code)
                _note_refused(connection, code, code, address, at)
                return SignIn(None, -(-wait // _SECOND))
            attempt = sign_ins.begin_attempt(connection, code, address, at)
            is_recovery = second_factor.may_be_recovery_code(typed)
            good = not is_recovery and second_factor.accepts(
                connection, code, typed, at, attempt, self._key_file
            )
        if is_recovery:
            with self._database.noting() as connection:  # a recovery code, which is used up
                good = second_factor.use_recovery_code(connection, code, typed)
        with self._apart.noting() as connection:
            if not good or users.password_hash(connection, code) is None:
                _note_refused(connection, code, code, address, at)
                return SignIn(None)
            token = _begun(connection, attempt, code, address, at, server)
        self.bring_over()
        return SignIn(token)

    def sign_in_of_provider(
        self, person: ProviderUser, address: str, at: datetime, *, server: str = ""
    ) -> str:
        """Sign in somebody who comes by the hospital's sign-in; returns the token.

        Raises
        ------
        StoreError
            The code is another account's, or the account was ended here.
        """
        with self._database.reading() as connection:
            is_known = provider_users.check(connection, person)
        if not is_known:
            with self._database.noting() as connection:
                provider_users.put(connection, person, at)
                about = f"{person.code}: {person.role}"
                accesses.note(connection, person.code, Access.ADDED_USER, None, about, at)
        with self._apart.noting() as connection:
            token = sign_ins.begin(connection, person.code, address, at, server)
            accesses.note(connection, person.code, Access.SIGNED_IN, None, address, at)
        self.bring_over()
        return token

    def has_password(self, code: str) -> bool:
        """Whether a user has a password here, and does not come by the hospital's sign-in."""
        with self._database.reading() as connection:
            return bool(users.password_hash(connection, code))

    # One's own password and second factor

    def change_password(
        self, code: str, old: str, new: str, address: str, at: datetime, *, token: str
    ) -> None:
        """Change a user's own password; all sign-ins end but the one with the token.

        Raises
        ------
        StoreError
            The old password is wrong or has to wait, or the new one does not do.
        """
        password_hash = passwords.hashed(new)
        passwords.refuse_easy(new, code)
        self._must_know(code, old, address, at)
        with self._database.noting() as connection:
            users.change(connection, code, password_hash=password_hash)
            accesses.note(connection, code, Access.SET_PASSWORD, None, code, at)
        with self._apart.noting() as connection:
            sign_ins.end_all_of(connection, code, at, but=token)

    def has_two_steps(self, code: str) -> tuple[bool, int]:
        """Whether a user signs in in two steps, and how many recovery codes are left."""
        with self._database.reading() as connection:
            asked = second_factor.is_asked_of(connection, code)
            return asked, second_factor.recovery_codes_left(connection, code)

    def lacks_two_steps(self, code: str) -> bool:
        """Whether a user signs in with a password of ours alone."""
        with self._database.reading() as connection:
            has_password = bool(users.password_hash(connection, code))
            return has_password and not second_factor.is_asked_of(connection, code)

    def users_of_two_steps(self) -> set[str]:
        """Codes of all users who sign in in two steps."""
        with self._database.reading() as connection:
            return second_factor.users_of(connection)

    def begin_two_steps(self, code: str, password: str, address: str, at: datetime) -> str:
        """A new secret for a user's authenticator, given the password; see `confirm_two_steps`.

        Raises
        ------
        StoreError
            The password is wrong or has to wait, or there is a second factor already.
        """
        self._must_know(code, password, address, at)
        with self._database.noting() as connection:
            if second_factor.is_asked_of(connection, code):
                raise StoreError("Two-step sign-in is set up already. End it first.")
            return second_factor.begin(connection, code, self._key_file)

    def confirm_two_steps(self, code: str, typed: str, at: datetime) -> list[str]:
        """Ask for the second factor from now on; returns the recovery codes.

        Raises
        ------
        StoreError
            The code is not the one that the authenticator shows.
        """
        with self._database.noting() as connection:
            made = second_factor.confirm(connection, code, typed, at, self._key_file)
            if made is None:
                raise StoreError("That is not the code of this moment. Check the phone's clock.")
            accesses.note(connection, code, Access.BEGAN_TWO_STEPS, None, code, at)
        return made

    def end_two_steps(self, code: str, password: str, address: str, at: datetime) -> None:
        """Let a user sign in in one step again, given the password.

        Raises
        ------
        StoreError
            The password is wrong or has to wait.
        """
        self._must_know(code, password, address, at)
        with self._database.noting() as connection:
            if second_factor.remove(connection, code):
                accesses.note(connection, code, Access.ENDED_TWO_STEPS, None, code, at)

    def reset_two_steps(self, code: str, at: datetime, *, by: str) -> None:
        """The same for a user who lost the phone and the recovery codes; the sign-ins end.

        Raises
        ------
        StoreError
            There is no such user, or no second factor.
        """
        with self._database.noting() as connection:
            users.check_active(connection, code)
            if not second_factor.remove(connection, code):
                raise StoreError(f"{code} has no two-step sign-in.")
            accesses.note(connection, by, Access.ENDED_TWO_STEPS, None, code, at)
        with self._apart.noting() as connection:
            sign_ins.end_all_of(connection, code, at)

    def _must_know(self, code: str, password: str, address: str, at: datetime) -> None:
        """Go on only with the user's password; else a sentence."""
        compared = self._compare(code, password, address, at)
        if compared.attempt is None:
            wait = compared.wait_seconds
            raise StoreError(
                f"Too many wrong passwords. Wait {wait} seconds, then try again."
                if wait
                else "The present password is wrong."
            )
        with self._apart.noting() as connection:
            sign_ins.mark_good(connection, compared.attempt)

    def _compare(self, code: str, password: str, address: str, at: datetime) -> _Compared:
        """Compare a password with the user's, or have the attempt wait; refusals are recorded."""
        with self._apart.noting() as connection:
            known = users.find(connection, code)
            who = None if known is None else known.code
            wait = sign_ins.still_to_wait(connection, code, at)
            if wait:
                sign_ins.note_waiting(connection, code)
                _note_refused(connection, code, who, address, at)
                return _Compared(None, -(-wait // _SECOND))
            attempt = sign_ins.begin_attempt(connection, code, address, at)
            password_hash = users.password_hash(connection, code)
        if passwords.fits(password, password_hash):
            return _Compared(attempt, password_hash=password_hash)
        with self._apart.noting() as connection:
            _note_refused(connection, code, who, address, at)
        return _Compared(None)

    def bring_over(self) -> None:
        """Move acts that wait in the file next to the store to the record, unless it is busy."""
        if not self._database.is_sqlite:
            return
        with self._apart.reading() as connection:
            if not accesses.anything_waits(connection):
                return
        with contextlib.suppress(StoreError), self._apart.noting() as connection:
            accesses.bring_over(connection, self._database, wait_seconds=0)


def _begun(
    connection: sa.Connection, attempt: int, code: str, address: str, at: datetime, server: str
) -> str:
    """The token of a sign-in that begins."""
    sign_ins.mark_good(connection, attempt)
    token = sign_ins.begin(connection, code, address, at, server)
    accesses.note(connection, code, Access.SIGNED_IN, None, address, at)
    return token


def _note_refused(
    connection: sa.Connection, code: str, who: str | None, address: str, at: datetime
) -> None:
    """Record a refused sign-in with how many there were: of a user, or of unknown codes there."""
    if who is not None:
        failures, of_what = sign_ins.failures_of_code(connection, code), ""
    else:
        failures, of_what = sign_ins.failures_from(connection, address), ", unknown code"
    if sign_ins.is_noted(failures):
        tries = "1 try" if failures == 1 else f"{failures} tries"
        accesses.note(
            connection, who, Access.SIGN_IN_REFUSED, None, f"{address}{of_what}: {tries}", at
        )
