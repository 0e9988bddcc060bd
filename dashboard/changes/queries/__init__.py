"""What did a person see on a page before, and what is different now?"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

import orjson

from dashboard.changes.views import Changes, Kind
from dashboard.session.session import Session

State = Mapping[str, Any]
"""What a page shows, as names, numbers and texts that JSON knows."""


def changes_since(
    session: Session,
    page: str,
    state: State,
    kinds: Callable[[State, datetime], list[Kind]],
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
    kinds : callable
        Gives the changes from the state before and the moment it was seen; kinds without any are
        left out.
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
    found = kinds(orjson.loads(zlib.decompress(before.seen)), before.at)
    since = before.at.astimezone(session.policy.zone)
    return Changes(now, since, tuple(kind for kind in found if kind.changes))
