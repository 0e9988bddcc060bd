"""Does a person who signs in in two steps show the code of their phone, or a recovery code?

*Source:* RFC 6238 (2011): codes of 6 digits for steps of 30 seconds; section 5.2: a code is accepted
once, and may be one step early or late.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from analysis.store import secret_key, sign_ins
from analysis.store.instants import microseconds
from analysis.store.schema import second_factors

STEP_SECONDS = 30
STEPS_OFF = (-1, 0, 1)
RECOVERY_CODES = 10
RECOVERY_SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Letters and digits that nobody mistakes for each other."""
RECOVERY_LENGTH = 24
"""Enough (118 bits) for a plain hash to protect them. *Source:* OWASP ASVS 5.0, 6.5.2."""
ISSUER = "linedays"


def begin(connection: sa.Connection, code: str, key_file: Path | None) -> str:
    """Make a new secret for a user, in the place of one not confirmed yet; returns it.

    It is stored encrypted with the key of a file (`analysis.store.secret_key`).

    Returns
    -------
    str
        Base32, as authenticator programs take it.
    """
    import pyotp

    secret = pyotp.random_base32()
    connection.execute(sa.delete(second_factors).where(second_factors.c.code == code))
    stored = secret_key.encrypted(secret, code, key_file)
    connection.execute(sa.insert(second_factors).values(code=code, secret=stored, recovery="[]"))
    return secret


def any_plain(connection: sa.Connection) -> bool:
    """Whether an earlier version stored a secret as it is."""
    stored = connection.execute(sa.select(second_factors.c.secret)).scalars().all()
    return not all(map(secret_key.is_encrypted, stored))


def encrypt_all(connection: sa.Connection, key_file: Path | None) -> int:
    """Encrypt the secrets that an earlier version stored as they are; returns how many."""
    rows = connection.execute(sa.select(second_factors.c.code, second_factors.c.secret)).all()
    earlier = [row for row in rows if not secret_key.is_encrypted(row.secret)]
    for row in earlier:
        _change(connection, row.code, secret=secret_key.encrypted(row.secret, row.code, key_file))
    return len(earlier)


def confirm(
    connection: sa.Connection, code: str, typed: str, at: datetime, key_file: Path | None
) -> list[str] | None:
    """Ask for the second factor from now on, if the code shows that it works.

    Returns
    -------
    list of str or None
        Recovery codes, which are stored as hashes only; None: the code is wrong, or nothing was begun.
    """
    row = _row(connection, code)
    if row is None or row.confirmed_at is not None:
        return None
    if _step_of(secret_key.plain(row.secret, code, key_file), typed, at) is None:
        return None
    made = [_recovery_code() for _ in range(RECOVERY_CODES)]
    hashes = json.dumps([_hash_of(one) for one in made])
    _change(connection, code, confirmed_at=microseconds(at), recovery=hashes)
    return made


def is_asked_of(connection: sa.Connection, code: str) -> bool:
    """Whether a user signs in in two steps."""
    row = _row(connection, code)
    return row is not None and row.confirmed_at is not None


def recovery_codes_left(connection: sa.Connection, code: str) -> int:
    """How many recovery codes a user has not used."""
    row = _row(connection, code)
    return 0 if row is None else len(json.loads(row.recovery))


def users_of(connection: sa.Connection) -> set[str]:
    """Codes of all users who sign in in two steps."""
    query = sa.select(second_factors.c.code).where(second_factors.c.confirmed_at.is_not(None))
    return set(connection.execute(query).scalars().all())


def accepts(
    connection: sa.Connection,
    code: str,
    typed: str,
    at: datetime,
    attempt: int,
    key_file: Path | None,
) -> bool:
    """Whether what was typed is the code of this moment, and was not used before.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Writes attempts.
    code, typed : str
        Of the user; what was typed, with any spaces.
    at : datetime
        The present moment.
    attempt : int
        Its number; the code is used up by it.
    key_file : Path or None
        Holds the key of the secret.

    Raises
    ------
    StoreError
        It does not.
    """
    row = _row(connection, code)
    if row is None or row.confirmed_at is None:
        return False
    step = _step_of(secret_key.plain(row.secret, code, key_file), typed, at)
    return step is not None and sign_ins.use_step(connection, attempt, code, step)


def may_be_recovery_code(typed: str) -> bool:
    """Whether what was typed has the length of a recovery code."""
    return len(_plain(typed)) == RECOVERY_LENGTH


def use_recovery_code(connection: sa.Connection, code: str, typed: str) -> bool:
    """Whether what was typed is a recovery code that is left; it is used up."""
    row = _row(connection, code)
    if row is None or row.confirmed_at is None:
        return False
    hashes = json.loads(row.recovery)
    used = [one for one in hashes if hmac.compare_digest(one, _hash_of(_plain(typed)))]
    if used:
        left = json.dumps([one for one in hashes if one not in used])
        _change(connection, code, recovery=left)
    return bool(used)


def remove(connection: sa.Connection, code: str) -> bool:
    """Let a user sign in in one step again; returns whether there was a second."""
    found = is_asked_of(connection, code)
    connection.execute(sa.delete(second_factors).where(second_factors.c.code == code))
    return found


def authenticator_address(secret: str, code: str) -> str:
    """What an authenticator program reads from a picture, ``otpauth://…``."""
    import pyotp

    return pyotp.TOTP(secret).provisioning_uri(name=code, issuer_name=ISSUER)


def _step_of(secret: str, typed: str, at: datetime) -> int | None:
    """The step whose code was typed, near the present one; None: none."""
    import pyotp

    totp = pyotp.TOTP(secret, interval=STEP_SECONDS)
    now = microseconds(at) // (STEP_SECONDS * 1_000_000)
    plain = _plain(typed).encode("utf-8", "replace")
    steps = [now + off for off in STEPS_OFF]
    return next(
        (step for step in steps if hmac.compare_digest(totp.generate_otp(step).encode(), plain)),
        None,
    )


def _plain(typed: str) -> str:
    return "".join(sign for sign in typed.lower() if sign.isalnum())


def _row(connection: sa.Connection, code: str) -> sa.Row[tuple[object, ...]] | None:
    query = sa.select(second_factors).where(second_factors.c.code == code)
    return connection.execute(query).first()


def _change(connection: sa.Connection, code: str, **values: object) -> None:
    which = second_factors.c.code == code
    connection.execute(sa.update(second_factors).where(which).values(**values))


def _recovery_code() -> str:
    return "".join(secrets.choice(RECOVERY_SIGNS) for _ in range(RECOVERY_LENGTH))


def _hash_of(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()
