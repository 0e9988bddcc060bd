"""How is a table of a file read at present, and how was it read before a column was known?

A file that was ingested before is skipped only if every table in it would be read as it was then.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from hashlib import blake2b

import orjson

from analysis.ingest.heads import Heads, alike
from analysis.ingest.profile import Profile
from analysis.policy import Policy
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW

EDITION = 1
"""Raise it with every change of this package that gives other values for the same cells."""


def fingerprint(table: str, profile: Profile, policy: Policy) -> str:
    """A text that changes whenever the cells of a table would be read in another way.

    It covers this program's edition, the columns it knows for the table, the whole source profile
    and the programme's time zone. The known codes are left out: a new one can only make refused
    rows usable, and files with refused rows are always read again.

    Examples
    --------
    >>> from analysis.policy import shipped_policy
    >>> fingerprint("stays", Profile(), shipped_policy()) == fingerprint(
    ...     "stays", Profile(encoding="cp1252"), shipped_policy())
    False
    """
    columns = [
        (c.name, c.kind, c.allowed, c.low, c.high, c.required)
        for c in (*INCOMING[table].columns, *ON_EVERY_ROW)
    ]
    read_by = {
        "edition": EDITION,
        "columns": sorted(columns),
        "profile": profile,
        "time_zone": policy.time_zone,
    }
    text = orjson.dumps(read_by, default=_plain, option=orjson.OPT_SORT_KEYS)
    return blake2b(text, digest_size=16).hexdigest()


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return dict(value)
    assert isinstance(value, frozenset | set)
    return sorted(value)


def before_known(heads: Heads, unknown: Collection[str]) -> Heads | None:
    """The columns of a sheet as they were when some of its heads were not known.

    Parameters
    ----------
    heads : Heads
        The columns as they are known at present.
    unknown : collection of str
        Heads that were not known once.

    Returns
    -------
    Heads or None
        None: all that are known now were known then.
    """
    asked = {alike(head) for head in unknown}
    were = {at: head for at, head in heads.written.items() if alike(head) in asked}
    if not were:
        return None
    return replace(
        heads,
        columns={at: c for at, c in heads.columns.items() if at not in were},
        ticks={at: t for at, t in heads.ticks.items() if at not in were},
        times={at: c for at, c in heads.times.items() if at not in were},
        unknown={**heads.unknown, **were},
        written={at: h for at, h in heads.written.items() if at not in were},
    )
