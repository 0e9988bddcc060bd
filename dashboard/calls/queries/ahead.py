"""What is due in the next 14 days, today first: changes, families that come back, kits that run out?"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd

from analysis.days import date_at, day_number
from analysis.decisions.capacity import DAYS_AHEAD, kits_running_out
from analysis.decisions.planned_changes import ahead
from analysis.snapshot import Snapshot
from analysis.vocabulary import RESTING
from dashboard.calls.views import AheadDay
from dashboard.session.frames import natural
from dashboard.session.session import Session


def changes_due(session: Session) -> pd.DataFrame:
    """One row a dressing change due from today on: line, day, family_id; no call changes them."""
    found = session.snapshot()
    return session.cached("changes due", lambda: _changes_due(found), lasting=True)


def kits_run_out(session: Session) -> pd.DataFrame:
    """One row a family whose dressing kits run out before the next delivery."""
    found = session.snapshot()
    return session.cached(
        "kits run out",
        lambda: kits_running_out(found.timeline, found.records, found.policy),
        lasting=True,
    )


def _changes_due(found: Snapshot) -> pd.DataFrame:
    until = day_number(found.as_of) + DAYS_AHEAD
    coming = ahead(found.timeline, found.records, found.policy, until)
    due = coming.changes(found.timeline, until)
    return due.assign(on=[date_at(int(day)) for day in due["day"]])


def days_ahead(
    found: Snapshot,
    due: pd.DataFrame,
    kits: pd.DataFrame,
    lines: pd.DataFrame,
    listed: pd.DataFrame,
) -> tuple[AheadDay, ...]:
    """The next 14 days, today first.

    Parameters
    ----------
    found : Snapshot
        Of the day.
    due, kits : DataFrame
        From `changes_due` and `kits_run_out`.
    lines : DataFrame
        Lines at home of the families that are asked for.
    listed : DataFrame
        These families as they are on the call list.
    """
    due = due[due["line"].isin(lines["line"]).to_numpy(dtype=bool)]
    kits = kits[kits["family_id"].isin(lines["family_id"]).to_numpy(dtype=bool)]
    resting = listed[listed["band"].isin([str(band) for band in RESTING]).to_numpy(dtype=bool)]
    changes = _by_day(due["on"], due["family_id"])
    out = _by_day(kits["runs_out_on"].dt.date, kits["family_id"])
    back = _by_day(resting["recheck_on"].dt.date, resting["family_id"])
    days = [found.as_of + timedelta(days=n) for n in range(DAYS_AHEAD)]
    counts = due["on"].value_counts()
    return tuple(
        AheadDay(
            day,
            int(counts.get(day, 0)),
            changes.get(day, ()),
            back.get(day, ()),
            out.get(day, ()),
        )
        for day in days
    )


def _by_day(days: pd.Series[Any], families: pd.Series[Any]) -> dict[date, tuple[str, ...]]:
    found: dict[date, set[str]] = {}
    for day, family in zip(days, families, strict=True):
        found.setdefault(day, set()).add(str(family))
    return {day: tuple(sorted(codes, key=natural)) for day, codes in found.items()}
