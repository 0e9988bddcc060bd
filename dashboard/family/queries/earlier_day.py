"""What was known of one family on an earlier day?

What is in force now and was never corrected was known from its receipt on; the few rows that
were corrected or voided are chosen again. So a look back reads one family and not the store.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pandas as pd

from analysis.decisions.history import Versions
from analysis.snapshot import Snapshot, end_of_day
from analysis.store import Store
from analysis.tables import KNOWN
from dashboard.session.frames import of, stacked
from dashboard.session.loaded import NO_OWNER, OWNER_CODES, LoadedSnapshot, log_of

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def revised_rows(store: Store) -> Mapping[str, Versions]:
    """Versions of all rows that were ever corrected or voided, of calls and arrangements."""
    return {
        name: Versions.of(every.frame, every.key, every.void)
        for name, every in store.revised().items()
    }


def family_on(
    loaded: LoadedSnapshot, revised: Mapping[str, Versions], family_id: str, day: date
) -> Snapshot | None:
    """One family alone in the morning of an earlier day, with what was received by that day's end.

    Parameters
    ----------
    loaded : LoadedSnapshot
        What is known now; the family has to be in it.
    revised : mapping of table to Versions
        See `revised_rows`.
    family_id : str
        Code of the family.
    day : date
        Before the as-of day of `loaded`.

    Returns
    -------
    Snapshot or None
        None: no line of the family was known by then.
    """
    now = loaded.snapshot
    known_at = min(end_of_day(day, now.policy), now.known_at)
    at = (known_at - _EPOCH) // timedelta(microseconds=1)
    moment = pd.Timestamp(known_at).tz_localize(None)

    def known(name: str, owner: str) -> pd.DataFrame:
        """Rows of one family, child or caregiver that were in force at the moment."""
        return in_force(name, OWNER_CODES[name], owner, loaded.by[name][owner])

    def in_force(name: str, code: str, owner: str, rows: pd.DataFrame) -> pd.DataFrame:
        versions = revised[name]
        since = (rows["received_at"] <= moment).to_numpy(dtype=bool)
        rows = rows[since & ~rows["row"].isin(versions.frame["row"]).to_numpy(dtype=bool)]
        then = of(versions.frame.take(versions.known(at)), code, owner)
        return stacked([rows, then[rows.columns]]).sort_values("row", ignore_index=True)

    found: dict[str, Any] = {
        name: known(name, family_id) for name, code in OWNER_CODES.items() if code == "family_id"
    }
    if not len(found["lines"]):
        return None
    for name, code in OWNER_CODES.items():
        if name not in found:
            owners = found["caregivers" if code == "caregiver_id" else "lines"][code].unique()
            parts = [loaded.by[name][NO_OWNER], *(known(name, str(owner)) for owner in owners)]
            found[name] = stacked(parts)
    found["home_log"] = log_of(
        found["home_log"],
        found["lines"],
        now.records.lines,
        lambda line: in_force("home_log", "line_id", line, loaded.log_by_line[line]),
    )
    for name in ("calls", "arrangements"):
        acts = revised[name]
        made = of(acts.frame.take(acts.known(at)), "family_id", family_id)
        found[name] = made[KNOWN[name].names]
    lines = revised["lines"]
    earlier = lines.frame.take(lines.earlier(at))[KNOWN["earlier_lines"].names]
    own = earlier["line_id"].isin(found["lines"]["line_id"]).to_numpy(dtype=bool)
    found["earlier_lines"] = earlier[own]
    alone = replace(now.records, **found)
    return replace(now, as_of=day, known_at=known_at, records=alone, with_moved=None)
