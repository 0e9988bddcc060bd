"""What did a person see on a page before, and what is different now?"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, TypeVar

import orjson

from dashboard.changes.views import Changes, Kind
from dashboard.session.session import Session

State = Mapping[str, Any]
"""What a page shows, as names, numbers and texts that JSON knows."""
Compared = TypeVar("Compared")


def changes_since(
    session: Session,
    page: str,
    state: State,
    compare: Callable[[State], Compared],
    kinds: Callable[[Compared, datetime], list[Kind]],
    *,
    marks: bool = False,
    looks: bool = True,
) -> Changes:
    """Compare a page with what this person saw on it before this visit.

    Parameters
    ----------
    session : Session
        Of this request.
    page : str
        Which page, or which pages together.
    state : mapping
        What it shows now.
    compare : callable
        Compares the state before with what the page shows now, which is the same for everybody with
        the sites of the person.
    kinds : callable
        Gives the changes for the person from that and the moment the state before was seen; kinds
        without any are left out.
    marks : bool
        The person marks everything as seen.
    looks : bool
        Somebody is there; False: a page asks by itself.
    """
    now = session.now()
    if not session.context().is_today:
        return Changes(now)
    people, code, at = session.store.people, session.reader.code, session.config.clock()
    shown = orjson.dumps(state, option=orjson.OPT_SORT_KEYS)
    seen = session.cached(("compressed", shown), lambda: zlib.compress(shown))
    if marks:
        people.mark_seen(code, page, at, seen)
    before = people.seen_before(code, page, at, seen, looks=looks)
    if before is None:
        return Changes(now)
    compared = session.cached(
        ("compared", page, before.seen),
        lambda: compare(orjson.loads(zlib.decompress(before.seen))),
    )
    found = kinds(compared, before.at)
    since = before.at.astimezone(session.policy.zone)
    return Changes(now, since, tuple(kind for kind in found if kind.changes))
