"""How is one family listed, for which reasons, and which calls were made?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.decisions.attempts import with_days_back
from analysis.decisions.order import expectation
from analysis.decisions.practice import NO_SIGN_OFF
from analysis.decisions.sentences import with_line
from analysis.reports.educator import step_words
from analysis.snapshot import Snapshot
from analysis.tables.codes import cells_at, is_among, rows_at
from analysis.vocabulary import CallOutcome, NeedState
from analysis.words import need_words
from dashboard.call_state.views import CallMade, CallRow, NeedShown, ReasonView
from dashboard.session.frames import (
    cells,
    cells_of,
    codes,
    day,
    distinct,
    of,
    plain_cells,
    plain_cells_at,
)


def silent_families(found: Snapshot, among: pd.Series[str]) -> list[str]:
    """Codes of those of some families that logged nothing for too long."""
    families = found.timeline.families
    quiet = families["silent"].to_numpy(dtype=bool) & is_among(families["family_id"], among)
    return list(cells_at(families["family_id"].array, np.flatnonzero(quiet)))


def rows_of(found: Snapshot, families: pd.DataFrame) -> tuple[CallRow, ...]:
    """Rows of the call list with their reasons' sentences, in the frame's order."""
    reasons = found.calls.reasons
    own = np.flatnonzero(is_among(reasons["family_id"], families["family_id"]))
    reasons = rows_at(reasons[["family_id", "line_id", "sentence", "reason"]], own)
    reasons = reasons.assign(sentence=with_line(reasons, found.timeline.lines))
    known: dict[str, list[tuple[str, str]]] = {}
    for family, text, reason in plain_cells(reasons, "family_id", "sentence", "reason"):
        known.setdefault(family, []).append((text, reason))
    silent = frozenset(silent_families(found, families["family_id"]))
    names = (
        *("rank", "family_id", "band", "days_overdue", "silent_days"),
        *("last_heard_on", "nurse", "site", "recheck_on", "assigned_to", "aside_row"),
        "attempts",
    )
    postponements = _postponements(found, families)
    return tuple(
        CallRow(
            rank=None if rank is None else int(rank),
            family_id=family,
            band=str(band),
            sentences=tuple(text for text, _ in known.get(family, ())),
            reasons=tuple(reason for _, reason in known.get(family, ())),
            days_overdue=int(overdue),
            silent=family in silent,
            silent_days=int(quiet),
            last_heard_on=day(heard),
            nurses=codes(nurse),
            sites=codes(site),
            recheck_on=day(recheck),
            expected=expected,
            assigned_to=assigned,
            postponed_by=postponements.get(postponed, (None, None))[0],
            postponed_reason=postponements.get(postponed, (None, None))[1],
            attempts=attempts,
        )
        for (
            rank,
            family,
            band,
            overdue,
            quiet,
            heard,
            nurse,
            site,
            recheck,
            assigned,
            postponed,
            attempts,
        ), expected in zip(cells(families, *names), expectation(families), strict=True)
    )


def _postponements(found: Snapshot, families: pd.DataFrame) -> dict[int, tuple[str, str]]:
    """Who postponed families, and why, by the arrangement's row."""
    made = found.records.arrangements
    own = np.flatnonzero(np.isin(made["row"].to_numpy(), families["aside_row"].to_numpy()))
    return {row: (by, why) for row, by, why in plain_cells_at(made, own, "row", "made_by", "why")}


def row_of(found: Snapshot, family_id: str) -> CallRow:
    """The family's row of the call list, or what is known of one that is not on it."""
    listed = of(found.calls.families, "family_id", family_id)
    if len(listed):
        return rows_of(found, listed)[0]
    heard = of(found.timeline.families, "family_id", family_id).iloc[0]
    lines = of(found.timeline.lines, "family_id", family_id)
    return CallRow(
        rank=None,
        family_id=family_id,
        band="no_call",
        sentences=(),
        reasons=(),
        days_overdue=0,
        silent=bool(heard["silent"]),
        silent_days=int(heard["silent_days"]),
        last_heard_on=day(heard["last_heard_on"]),
        nurses=distinct(lines["nurse"]),
        sites=distinct(lines["site"]),
        recheck_on=None,
    )


def reasons_of(found: Snapshot, family_id: str) -> tuple[ReasonView, ...]:
    """A family's reasons, most urgent first, with the stored rows that prove them."""
    evidence, reasons = found.calls.evidence, found.calls.reasons
    rows: dict[tuple[str, str | None], list[tuple[str, int]]] = {}
    proof = ("reason", "line_id", "table", "row")
    for reason, line, table, row in cells_of(evidence, "family_id", family_id, *proof):
        rows.setdefault((reason, line), []).append((table, row))
    names = ("reason", "band", "line_id", "sentence")
    return tuple(
        ReasonView(reason, band, line, text, tuple(rows.get((reason, line), ())))
        for reason, band, line, text in cells_of(reasons, "family_id", family_id, *names)
    )


def needs_of(found: Snapshot, family_id: str) -> tuple[NeedShown, ...]:
    """Steps to retrain, to watch since a refresher, and improved, in the page's order.

    A change without a sign-off is a reason to call, so it is not repeated here.
    """
    own = found.retraining_of(family_id)
    counts = ("seen", "missed", "seen_before", "missed_before")
    names = ("caregiver_id", "step", "state", *counts)
    return tuple(
        NeedShown(
            caregiver,
            step_words(step, found.edition),
            state,
            need_words(state, *numbers),
        )
        for caregiver, step, state, *numbers in plain_cells(own, *names)
        if step != NO_SIGN_OFF and state != NeedState.NO_NEED
    )


def calls_made(found: Snapshot, family_id: str) -> tuple[CallMade, ...]:
    """Calls recorded to a family and not undone, newest first."""
    calls = of(found.records.calls, "family_id", family_id)
    if calls.empty:
        return ()
    calls = with_days_back(calls, found.edition.settings.recheck_days)
    calls = calls.sort_values(["called_at", "row"], ascending=False)
    at = calls["called_at"].dt.tz_localize("UTC").dt.tz_convert(found.policy.zone)
    names = ("row", "called_on", "called_by", "outcome", "agreed", "recheck_on", "called_at")
    return tuple(
        CallMade(
            int(row), on.date(), by, outcome == CallOutcome.REACHED, agreed, recheck.date(), at
        )
        for row, on, by, outcome, agreed, recheck, at in cells(calls.assign(called_at=at), *names)
    )
