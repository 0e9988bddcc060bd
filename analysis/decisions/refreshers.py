"""Did refreshers help, or did bad periods end by themselves?

Families are sent to a refresher after a bad period, and bad periods pass (regression to the mean).
So the families' own before and after is shown with a comparison: families of the same record that
were not retrained on that day (`decisions.refresher_trials`). The comparison is checked on a step
that no refresher teaches, changing in time: where the retrained families differ in that too, they
were chosen for reasons that the log does not show, and no effect is reported.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from analysis.days import NO_DAY, days_of
from analysis.decisions.practice import LATE_CHANGE, NO_SIGN_OFF
from analysis.decisions.refresher_effect import (
    Ints,
    Occasions,
    before_and_after,
    control_effect,
    effect_of,
    trial_of,
)
from analysis.stats.shrinkage import fit_beta_binomial
from analysis.tables.records import Records
from analysis.tables.retraining import FAMILY_REFRESHERS, REFRESHERS
from analysis.vocabulary import SignOffKind, Skill
from analysis.words import limits, number

_SURE = 0.025
_FEWER = "fewer missed than expected after such a period"
_MORE = "more missed than expected after such a period"
_AS_EXPECTED = "no evidence of more than that bad periods end by themselves"

CONTROL_STEP = LATE_CHANGE
"""A step that refreshers of the dressing change do not teach: changing in time."""


def refreshers(seen: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Show by step whether refreshers of the dressing change helped.

    Parameters
    ----------
    seen : DataFrame
        Columns of `PRACTICE`.
    records : Records
        `sign_offs` of kind ``refresher`` and skill ``dressing_change`` are the refreshers; the
        first of a family's caregivers is the family's.

    Returns
    -------
    DataFrame
        Columns of `REFRESHERS`, by step; see :func:`effect_of`. The row of `CONTROL_STEP` is the
        negative control, see :func:`control_effect`.

    *Source:* project definition, definitions §8.
    """
    first_on = _refreshed_on(records, "min")
    rows = []
    code, families = pd.factorize(seen["family_id"], sort=True)
    refreshed_on = _days(families, first_on)

    def occasions_of(step: str) -> Occasions:
        at = (seen["step"] == step).to_numpy(dtype=bool)
        missed = seen["missed"].to_numpy(dtype=bool)[at]
        return code[at].astype(np.int64), days_of(seen["done_on"][at]), missed

    steps = [s for s in seen["step"].unique() if s != NO_SIGN_OFF]
    control = trial_of(occasions_of(CONTROL_STEP), refreshed_on)
    for step in sorted(steps):
        occasions = occasions_of(step)
        found = (
            control_effect(occasions, refreshed_on)
            if step == CONTROL_STEP
            else effect_of(occasions, refreshed_on, control)
        )
        rows.append(
            {
                "step": step,
                "families": found.families,
                "seen_before": found.seen_before,
                "missed_before": found.missed_before,
                "seen_after": found.seen_after,
                "missed_after": found.missed_after,
                "own_ratio": found.own_ratio,
                "own_lower": found.own_lower,
                "own_upper": found.own_upper,
                "moments_compared": found.moments_compared,
                "adjusted_ratio": found.adjusted_ratio,
                "adjusted_lower": found.adjusted_lower,
                "adjusted_upper": found.adjusted_upper,
                "reading": found.reading,
            }
        )
    return REFRESHERS.build({n: [r[n] for r in rows] for n in REFRESHERS.names})


def taught(table: pd.DataFrame) -> pd.DataFrame:
    """The rows of `REFRESHERS` of steps that refreshers teach: all but the negative control."""
    return table[(table["step"] != CONTROL_STEP).to_numpy(dtype=bool)]


def control_sentence(table: pd.DataFrame) -> str:
    """What the negative control shows, with its ratio; empty where no retrained family is seen.

    Parameters
    ----------
    table : DataFrame
        Columns of `REFRESHERS`.
    """
    own = table[((table["step"] == CONTROL_STEP) & (table["families"] > 0)).to_numpy(dtype=bool)]
    if own.empty:
        return ""
    row = own.iloc[0]
    reading = str(row["reading"])
    if pd.isna(row["adjusted_lower"]):
        return reading
    ratio = f"changing in time, ratio {number(row['adjusted_ratio'])}"
    of = limits(row["adjusted_lower"], row["adjusted_upper"])
    return f"{reading[:-1]} ({ratio}, 95 % limits {of})."


def _refreshed_on(records: Records, which: str) -> pd.Series[pd.Timestamp]:
    """First ("min") or last ("max") refresher of the dressing change, by family code."""
    shown = records.sign_offs
    is_given = (shown["kind"] == SignOffKind.REFRESHER) & (shown["skill"] == Skill.DRESSING_CHANGE)
    given = shown[is_given.fillna(False).to_numpy(dtype=bool)]
    people = records.caregivers[["caregiver_id", "family_id"]]
    return given.merge(people, on="caregiver_id").groupby("family_id")["signed_on"].agg(which)


def _days(families: pd.Index[Any], on: pd.Series[pd.Timestamp]) -> Ints:
    """Day of each family's refresher; the largest int64 for none."""
    day = days_of(pd.Series(families).map(on).astype("datetime64[s]"))
    return np.where(day == NO_DAY, np.iinfo(np.int64).max, day)


def refreshers_by_family(seen: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Report for each family's last refresher whether less was missed after it than was to be expected.

    What was to be expected without it is adjusted for the period before: the family's share is
    adjusted towards that of periods without a refresher (beta-binomial), and the chance of so few missed is
    that of the number to come. Steps not missed before are left out: a refresher could not help.

    Parameters
    ----------
    seen, records
        As for :func:`refreshers`.

    Returns
    -------
    DataFrame
        Columns of `FAMILY_REFRESHERS`, by family and step.

    *Source:* project definition, definitions §8; beta-binomial as in `stats.shrinkage`.
    """
    first_on, last_on = _refreshed_on(records, "min"), _refreshed_on(records, "max")
    parts = []
    for step in sorted(s for s in seen["step"].unique() if s != NO_SIGN_OFF):
        own = seen[(seen["step"] == step).to_numpy()]
        code, families = pd.factorize(own["family_id"], sort=True)
        occasions = (code.astype(np.int64), days_of(own["done_on"]), own["missed"].to_numpy())
        usual = before_and_after(*occasions, _days(families, first_on))
        last = before_and_after(*occasions, _days(families, last_on))
        fitted = fit_beta_binomial(
            usual.missed_before[~usual.refreshed], usual.seen_before[~usual.refreshed]
        )
        known = last.refreshed & (last.missed_before > 0)
        before, out_of = last.missed_before[known], last.seen_before[known]
        after, n_after = last.missed_after[known], last.seen_after[known]
        if fitted.is_heterogeneous:
            chances = (n_after, fitted.yes + before, fitted.no + out_of - before)
            few, many = (
                stats.betabinom(*chances).cdf(after),
                stats.betabinom(*chances).sf(after - 1),
            )
        else:
            few = stats.binom(n_after, fitted.mean).cdf(after)
            many = stats.binom(n_after, fitted.mean).sf(after - 1)
        parts.append(
            pd.DataFrame(
                {
                    "family_id": pd.Index(families).take(last.family[known]),
                    "step": step,
                    "seen_before": out_of,
                    "missed_before": before,
                    "seen_after": n_after,
                    "missed_after": after,
                    "expected_after": n_after * fitted.posterior_mean(before, out_of),
                    "prob_so_few": few,
                    "reading": np.select(
                        [few < _SURE, many < _SURE], [_FEWER, _MORE], _AS_EXPECTED
                    ),
                }
            )
        )
    if not parts:
        return FAMILY_REFRESHERS.empty()
    frame = pd.concat(parts, ignore_index=True)
    frame["refreshed_on"] = frame["family_id"].map(last_on).astype("datetime64[s]")
    texts = dict.fromkeys(("family_id", "step", "reading"), "string")
    numbers = {"expected_after": "float64", "prob_so_few": "float64"}
    frame = frame.astype({**texts, **numbers})
    return FAMILY_REFRESHERS.check(frame.sort_values(["family_id", "step"], ignore_index=True))
