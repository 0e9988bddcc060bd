"""Did refreshers help, or did bad periods end by themselves?

Families are sent to a refresher after a bad period, and bad periods pass (regression to the mean).
So the families' own before and after is shown with a comparison: families of the same record that
were not retrained on that day (`decisions.refresher_trials`). The comparison is checked on a step
that no refresher teaches, changing in time: where the retrained families differ in that too, they
were chosen for reasons that the log does not show, and no effect is reported.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.days import NO_DAY, days_of
from analysis.decisions.practice import LATE_CHANGE, NO_SIGN_OFF
from analysis.decisions.refresher_trials import (
    WINDOW_DAYS,
    TrialEffect,
    moments_of,
    trial_effect,
)
from analysis.stats.regression import FEWEST_FAMILIES, clustered_rate_ratio
from analysis.stats.shrinkage import fit_beta_binomial
from analysis.tables.records import Records
from analysis.tables.retraining import FAMILY_REFRESHERS, REFRESHERS
from analysis.vocabulary import SignOffKind, Skill
from analysis.words import limits, number

STEP_DAYS = 28
"""BeforeAfter of families not yet retrained begin this far apart."""

REGRESSION_CAUTION = "Families sent after a bad period improve by themselves; "
CONTROL_CAUTION = "Negative control, a step that no refresher teaches: "
_SURE = 0.025
_FEWER = "fewer missed than expected after such a period"
_MORE = "more missed than expected after such a period"
_AS_EXPECTED = "no evidence of more than that bad periods end by themselves"

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Occasions = tuple[Ints, Ints, npt.NDArray[np.bool_]]
"""Family, day and whether it was missed, of each occasion."""
CONTROL_STEP = LATE_CHANGE
"""A step that refreshers of the dressing change do not teach: changing in time."""


@dataclass(frozen=True)
class BeforeAfter:
    """Before and after of one moment of one family each; arrays of one length."""

    family: Ints
    refreshed: npt.NDArray[np.bool_]
    """The moment is that of a refresher; else of a family not retrained until the end."""
    seen_before: Ints
    missed_before: Ints
    seen_after: Ints
    missed_after: Ints


@dataclass(frozen=True)
class Effect:
    """Ratios of shares with 95 % limits; nan where it is not known."""

    families: int
    moments_compared: int
    own_ratio: float
    own_lower: float
    own_upper: float
    adjusted_ratio: float
    adjusted_lower: float
    adjusted_upper: float
    checked: bool
    """Whether the step that no refresher teaches confirms the comparison."""
    is_control: bool = False
    """It is the effect on the step that no refresher teaches: the negative control."""

    @property
    def reading(self) -> str:
        """What the figures say, in one or two sentences."""
        if self.families == 0:
            return "No family with a refresher was seen before and after it."
        if self.is_control:
            return CONTROL_CAUTION + self._control_reading
        caution = REGRESSION_CAUTION
        if not self.checked:
            return caution + (
                "the effect can't be estimated: the families chosen may differ from the others in "
                "ways that the log does not show."
            )
        if math.isnan(self.adjusted_lower):
            return caution + "too few families or missed steps to estimate the effect."
        if self.adjusted_upper < 1:
            return caution + "still, less was missed than by similar families without a refresher."
        if self.adjusted_lower > 1:
            return caution + "more was missed than by similar families without a refresher."
        return caution + "no clear difference from similar families without a refresher."

    @property
    def _control_reading(self) -> str:
        if math.isnan(self.adjusted_lower):
            return "too few families or late changes to check the comparison."
        if self.adjusted_lower <= 1 <= self.adjusted_upper:
            return "no clear difference from similar families, as it should be."
        return (
            "it differs from similar families too, so the families sent were chosen for reasons that "
            "the log does not show."
        )


def before_and_after(
    family: Ints, day: Ints, missed: npt.NDArray[np.bool_], refreshed_on: Ints
) -> BeforeAfter:
    """Cut the occasions of families into befores and afters.

    A refreshed family gives one period, about its first refresher. A family not yet retrained
    gives one about every `STEP_DAYS` days of its log. Before is the `WINDOW_DAYS` days up to
    and on the moment, after as many days from the day after it; for a family not yet retrained
    it ends before its first refresher. Moments need an occasion on either side.

    Parameters
    ----------
    family : int64 array, shape (n,)
        Family of each occasion, from 0.
    day : int64 array, shape (n,)
        Its day since 1970-01-01.
    missed : bool array, shape (n,)
        Not done well.
    refreshed_on : int64 array, shape (families,)
        First refresher; the largest int64 for none.
    """
    n = len(refreshed_on)
    order = np.lexsort((day, family))
    family, day, missed = family[order], day[order], missed[order]
    base = int(day.min()) - 2 * WINDOW_DAYS if len(day) else 0
    width = (int(day.max()) if len(day) else 0) - base + 4 * WINDOW_DAYS
    key = family * width + (day - base)
    sums = np.concatenate([[0], np.cumsum(missed)]).astype(np.int64)

    first, last = np.full(n, np.iinfo(np.int64).max), np.full(n, -1, dtype=np.int64)
    np.minimum.at(first, family, day)
    np.maximum.at(last, family, day)
    known = np.flatnonzero(last >= 0)
    until = np.minimum(last[known], refreshed_on[known] - 1)
    count = np.maximum((until - first[known]) // STEP_DAYS, 0)
    of = np.repeat(known, count)
    nth = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + 1
    moment = first[of] + nth * STEP_DAYS
    sent = np.flatnonzero((refreshed_on <= last) & (last >= 0))
    of, moment = np.concatenate([of, sent]), np.concatenate([moment, refreshed_on[sent]])
    is_sent = np.arange(len(of)) >= len(of) - len(sent)

    def within(low: Ints, high: Ints) -> tuple[Ints, Ints]:
        """Occasions and missed ones of each moment's family on days low <= d < high."""
        at = np.searchsorted(key, of * width + (low - base))
        to = np.maximum(np.searchsorted(key, of * width + (high - base)), at)
        return to - at, sums[to] - sums[at]

    seen_before, missed_before = within(moment - WINDOW_DAYS + 1, moment + 1)
    end = moment + WINDOW_DAYS + 1
    end = np.where(is_sent, end, np.minimum(end, refreshed_on[of]))
    seen_after, missed_after = within(moment + 1, end)
    counted = (seen_before > 0) & (seen_after > 0)
    counts = (seen_before, missed_before, seen_after, missed_after)
    return BeforeAfter(of[counted], is_sent[counted], *(c[counted] for c in counts))


def effect_of(occasions: Occasions, refreshed_on: Ints, control: Occasions | None = None) -> Effect:
    """Compare refreshed families with themselves and with families of the same record.

    Parameters
    ----------
    occasions : tuple of family, day, missed
        As for :func:`before_and_after`.
    refreshed_on : int64 array, shape (families,)
        First refresher; the largest int64 for none.
    control : tuple of family, day, missed, optional
        The same families' occasions of a step that no refresher teaches.

    Returns
    -------
    Effect
        - Own ratio: share missed after over share missed before, of refreshed families.
        - Adjusted ratio: what was missed after over what families of the same record missed that
          were not retrained; see `decisions.refresher_trials`. It has limits only if at least
          `FEWEST_FAMILIES` families had something missed before or after their refresher, and if
          the control step confirms them: an effect counts only where the ratio still differs from
          1, on the same side, when divided by the ratio for the control step. Without a control
          step there are none.

    Notes
    -----
    Where refreshers do nothing, 0.4 to 5.5 % of simulated programmes of 30 to 200 families show an
    effect: at most 1.6 % where anybody is sent, 2.8 % after a bad quarter, and 5.0 % (5.5 % in one
    of five runs of 2000) where families are sent at once when something is missed. Half as much
    missed is found in 50 to 85 % of programmes of 60 families and in nearly all of 200
    (``tests/benchmarks/simulate_refreshers``).

    Source: negative control outcomes: Lipsitch, Tchetgen Tchetgen and Cohen, Epidemiology
    2010;21:383; dividing by the control's ratio: Tchetgen Tchetgen, Am J Epidemiol 2014;179:633
    (both from memory).
    """
    effect, found = _compared(occasions, refreshed_on)
    if found is None or found.families < FEWEST_FAMILIES:
        return effect
    low, high = _limits(found.slope, found.error, found.families)
    if not _confirmed(found, low, high, control, refreshed_on):
        return replace(effect, checked=False)
    return replace(effect, adjusted_lower=math.exp(low), adjusted_upper=math.exp(high))


def control_effect(occasions: Occasions, refreshed_on: Ints) -> Effect:
    """Compare retrained families on the step that no refresher teaches: the negative control.

    Parameters
    ----------
    occasions, refreshed_on
        As for :func:`effect_of`, of the control step.

    Returns
    -------
    Effect
        Its adjusted ratio has limits as soon as there are families enough: nothing confirms it, it
        confirms the others. It should be near 1.

    *Source:* as for :func:`effect_of`.
    """
    effect, found = _compared(occasions, refreshed_on)
    effect = replace(effect, is_control=True)
    if found is None or found.families < FEWEST_FAMILIES:
        return effect
    low, high = _limits(found.slope, found.error, found.families)
    return replace(effect, adjusted_lower=math.exp(low), adjusted_upper=math.exp(high))


def _compared(occasions: Occasions, refreshed_on: Ints) -> tuple[Effect, TrialEffect | None]:
    """The effect without limits of the adjusted ratio, and what they come from."""
    pairs = before_and_after(*occasions, refreshed_on)
    moments = moments_of(*occasions, refreshed_on)
    found = trial_effect(moments, len(refreshed_on))
    effect = Effect(
        int(pairs.refreshed.sum()),
        int((~moments.sent).sum()),
        *_own_ratio(pairs),
        math.nan if found is None else math.exp(found.slope),
        math.nan,
        math.nan,
        checked=True,
    )
    return effect, found


def _limits(slope: float, error: float, families: int) -> tuple[float, float]:
    reach = float(stats.t.ppf(0.975, families - 2)) * error
    return slope - reach, slope + reach


def _confirmed(
    found: TrialEffect, low: float, high: float, control: Occasions | None, refreshed_on: Ints
) -> bool:
    """Whether the control step confirms that limits leave out 1; limits that hold it may stay."""
    if control is None:
        return False
    checked = trial_effect(moments_of(*control, refreshed_on), len(refreshed_on))
    if checked is None or checked.families < FEWEST_FAMILIES:
        return False
    if low <= 0 <= high:
        return True
    error = float(np.sqrt(((found.by_family - checked.by_family) ** 2).sum()))
    fewer = min(found.families, checked.families)
    below, above = _limits(found.slope - checked.slope, error, fewer)
    return above < 0 if high < 0 else below > 0


def _own_ratio(pairs: BeforeAfter) -> tuple[float, float, float]:
    sent = pairs.refreshed
    if not sent.any():
        return math.nan, math.nan, math.nan
    family = pairs.family[sent]
    found = clustered_rate_ratio(
        np.concatenate([pairs.missed_after[sent], pairs.missed_before[sent]]),
        np.concatenate([pairs.seen_after[sent], pairs.seen_before[sent]]),
        np.repeat([True, False], len(family)),
        np.concatenate([family, family]),
    )
    return found.ratio, found.lower, found.upper


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
    for step in sorted(steps):
        occasions = occasions_of(step)
        found = (
            control_effect(occasions, refreshed_on)
            if step == CONTROL_STEP
            else effect_of(occasions, refreshed_on, occasions_of(CONTROL_STEP))
        )
        pairs = before_and_after(*occasions, refreshed_on)
        sent = pairs.refreshed
        rows.append(
            {
                "step": step,
                "families": found.families,
                "seen_before": int(pairs.seen_before[sent].sum()),
                "missed_before": int(pairs.missed_before[sent].sum()),
                "seen_after": int(pairs.seen_after[sent].sum()),
                "missed_after": int(pairs.missed_after[sent].sum()),
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
