"""By which morning is each thing planted in a demo found, when past mornings are replayed?

The day by which it has to be found is worked out from what was planted and the definitions of
the reasons to call, by hand and in one line each.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from analysis.decisions.history import History, morning_of
from analysis.decisions.mornings import morning
from analysis.decisions.retraining import retraining
from analysis.policy import Policy
from analysis.timeline import build
from analysis.vocabulary import NeedState, Reason
from synthetic_data.truth import Truth

SURE = 0.95
"""Probability of being above the limit from which nobody of a steady programme may be named."""
HABIT_DAYS = 112
"""A habit shows in the last 8 changes: 8 weeks of scored intervals, and 8 from one replayed morning of the
`habit_mornings` to the next."""


@dataclass(frozen=True)
class Expected:
    """One family or caregiver, the reason that finds it, and when."""

    what: str
    family_id: str
    reason: str
    since: date | None
    """Morning before which it can't be told apart from what was there before; None: the first."""
    by: date | None
    """Last morning by which it has to be found; None: `HABIT_DAYS` after the first scored interval."""


def days(n: int) -> timedelta:
    return timedelta(days=n)


def expected_calls(truth: Truth, policy: Policy) -> list[Expected]:
    """Every planted family with the reason to call that has to find it."""
    settings = policy.on(truth.as_of).settings
    weekly = 7  # planted in lines under transparent dressings only
    # Day of what was planted, to the morning on which the definitions list it.
    after = {
        "red_flag": (Reason.RED_FLAG, 1),
        "compromised": (Reason.COMPROMISED, 1),
        "skin_open": (Reason.SKIN_EVENT_OPEN, 1),
        "kits_short": (Reason.KITS_SHORT, 1),
        "overdue": (Reason.OVERDUE, weekly + settings.overdue_call_days),
        "called": (Reason.OVERDUE, weekly + settings.overdue_call_days),
        "silent": (Reason.SILENT, settings.silent_after_days + 1),
        "state_unknown": (Reason.STATE_UNKNOWN, settings.unknown_call_days),
    }
    told = [
        Expected(name, one.family_id, str(reason), one.on, one.on + days(n))
        for name, (reason, n) in after.items()
        for one in getattr(truth, name)
    ]
    told += [
        Expected("never_signed_off", one.family_id, str(Reason.NO_SIGN_OFF), None, None)
        for one in truth.never_signed_off
    ]
    told += [
        Expected("lift_early", f, str(Reason.EARLY_FAILURES), None, None) for f in truth.lift_early
    ]
    told += [
        Expected("before_refresher", one.family_id, str(Reason.EARLY_FAILURES), None, one.on)
        for one in truth.refresher_helped
    ]
    told += [
        Expected("late_habit", f, str(Reason.LATE_PATTERN), None, None) for f in truth.late_habit
    ]
    return told


def news_mornings(as_of: date) -> list[date]:
    """Every morning of the last days, for what was arranged in them."""
    return [as_of - days(n) for n in range(9, -1, -1)]


def habit_mornings(as_of: date, since: date) -> list[date]:
    """One morning in eight weeks, the newest before the news."""
    n = (as_of - since).days // 56
    return [as_of - days(56 * k) for k in range(n, 0, -1)]


def replayed(history: History, policy: Policy, mornings: Sequence[date]) -> pd.DataFrame:
    """Mornings, each by what was known before it began."""
    return pd.concat(
        [
            morning(history.records(morning_of(day, policy), by=day), policy, day)
            for day in mornings
        ],
        ignore_index=True,
    )


def calls_found(told: pd.DataFrame, expected: Sequence[Expected]) -> pd.DataFrame:
    """One row a planted family: what, family_id, reason, by, found_on (blank: never found)."""
    rows = []
    for one in expected:
        own = told[(told["family_id"] == one.family_id).to_numpy(bool)]
        if one.since is not None:
            own = own[(own["morning"] >= pd.Timestamp(one.since)).to_numpy(bool)]
        listed = (";" + own["reasons"].fillna("") + ";").str.contains(f";{one.reason};")
        found = own.loc[listed.to_numpy(bool), "morning"].min()
        scored = own.loc[(own["scored"] > 0).to_numpy(bool), "morning"].min()
        by = one.by or (scored + pd.Timedelta(days=HABIT_DAYS)).date()
        rows.append((one.what, one.family_id, one.reason, pd.Timestamp(by), found))
    return pd.DataFrame(rows, columns=["what", "family_id", "reason", "by", "found_on"])


def caregivers_found(
    history: History, policy: Policy, truth: Truth, mornings: Sequence[date]
) -> pd.DataFrame:
    """One row a planted weak step: caregiver_id, step, found_on, seen and missed by then."""
    tables = []
    for day in mornings:
        records = history.records(morning_of(day, policy), by=day)
        needs = retraining(build(records, policy, day), records, policy)
        tables.append(
            needs[(needs["state"] == NeedState.RETRAIN).to_numpy(bool)].assign(found_on=day)
        )
    needs = pd.concat(tables, ignore_index=True)
    rows = []
    for one in truth.weak_step:
        caregiver, step = one.detail.split(":")
        own = needs[((needs["caregiver_id"] == caregiver) & (needs["step"] == step)).to_numpy(bool)]
        first = own.sort_values("found_on").head(1)
        rows.append(first if len(first) else None)
    return pd.concat([row for row in rows if row is not None], ignore_index=True)
