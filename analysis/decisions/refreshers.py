"""Did refreshers help, or did bad spells end by themselves?

Families are sent to a refresher after a bad spell, and bad spells pass (regression to the mean).
So beside the families' own before and after stands a comparison with spells that were as bad, of
families not yet retrained.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import statsmodels.api as sm
from scipy import stats

from analysis.days import NO_DAY, days_of
from analysis.decisions.practice import NO_SIGN_OFF
from analysis.stats.regression import FEWEST_FAMILIES, clustered_rate_ratio
from analysis.stats.shrinkage import fit_beta_binomial
from analysis.tables.records import Records
from analysis.tables.retraining import FAMILY_REFRESHERS, REFRESHERS
from analysis.vocabulary import SignOffKind, Skill

WINDOW_DAYS = 91
"""Length of before and after: a quarter, about thirteen weekly changes."""
STEP_DAYS = 28
"""Spells of families not yet retrained begin this far apart."""

REGRESSION_CAUTION = "Families sent after a bad spell improve by themselves; "
_SURE = 0.025
_FEWER = "fewer missed than such a spell before leads one to expect"
_MORE = "more missed than such a spell before leads one to expect"
_AS_EXPECTED = "no more can be told than that bad spells end by themselves"

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Spells:
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
    """Ratios of shares with 95 % limits; nan where it cannot be told."""

    families: int
    spells: int
    own_ratio: float
    own_lower: float
    own_upper: float
    adjusted_ratio: float
    adjusted_lower: float
    adjusted_upper: float

    @property
    def reading(self) -> str:
        """What the figures say, in one or two sentences."""
        if self.families == 0:
            return "No family with a refresher was seen before and after it."
        caution = REGRESSION_CAUTION
        if math.isnan(self.adjusted_lower):
            return caution + "too few families or missed steps to tell the refreshers' part."
        if self.adjusted_upper < 1:
            return caution + "still, less was missed than after equally bad spells without one."
        if self.adjusted_lower > 1:
            return caution + "more was missed than after equally bad spells without one."
        return caution + "no effect of the refreshers can be told from that."


def spells_of(family: Ints, day: Ints, missed: npt.NDArray[np.bool_], refreshed_on: Ints) -> Spells:
    """Cut the occasions of families into befores and afters.

    A refreshed family gives one spell, about its first refresher. A family not yet retrained
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
    told = (seen_before > 0) & (seen_after > 0)
    counts = (seen_before, missed_before, seen_after, missed_after)
    return Spells(of[told], is_sent[told], *(c[told] for c in counts))


def effect_of(spells: Spells) -> Effect:
    """Compare refreshed families with themselves and with equally bad spells.

    - Own ratio: share missed after over share missed before, of refreshed families.
    - Adjusted ratio: Poisson regression of what was missed after, with what was seen as
      exposure, on the refresher and on the logarithm of the share before, drawn toward
      that of all spells by as much as its few occasions deserve (beta-binomial, fitted to
      spells without a refresher). A family's later spells are no new family: errors are
      clustered by family.

    Returns
    -------
    Effect
        Ratios are nan without refreshed families, without anything missed, or without spells
        to compare with; limits need `FEWEST_FAMILIES` families with something missed before
        or after their refresher.

    Notes
    -----
    What is left out: a refresher given for other reasons than what was missed before.

    Source: regression to the mean and its allowance by the value before: Barnett et al., Int J
    Epidemiol 2005;34:215 (from memory); Poisson regression with clustered errors as in
    `stats.regression`.
    """
    sent = spells.refreshed
    families, others = int(sent.sum()), int((~sent).sum())
    own = _own_ratio(spells)
    adjusted = _adjusted_ratio(spells)
    return Effect(families, others, *own, *adjusted)


def _own_ratio(spells: Spells) -> tuple[float, float, float]:
    sent = spells.refreshed
    if not sent.any():
        return math.nan, math.nan, math.nan
    family = spells.family[sent]
    found = clustered_rate_ratio(
        np.concatenate([spells.missed_after[sent], spells.missed_before[sent]]),
        np.concatenate([spells.seen_after[sent], spells.seen_before[sent]]),
        np.repeat([True, False], len(family)),
        np.concatenate([family, family]),
    )
    return found.ratio, found.lower, found.upper


def _adjusted_ratio(spells: Spells) -> tuple[float, float, float]:
    sent, none = spells.refreshed, (math.nan, math.nan, math.nan)
    missed = spells.missed_after
    if not missed[sent].any() or not missed[~sent].any():
        return none
    fitted = fit_beta_binomial(spells.missed_before[~sent], spells.seen_before[~sent])
    before = fitted.posterior_mean(spells.missed_before, spells.seen_before)
    columns = [np.ones(len(sent)), sent.astype(np.float64)]
    if fitted.is_heterogeneous and fitted.mean > 0:
        columns.append(np.log(before / fitted.mean))
    model = sm.GLM(
        missed,
        np.column_stack(columns),
        family=sm.families.Poisson(),
        offset=np.log(spells.seen_after),
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of weights: errors are clustered, not by weights
        result = model.fit(cov_type="cluster", cov_kwds={"groups": spells.family})
    slope, error = float(result.params[1]), float(result.bse[1])
    ratio = math.exp(slope)
    with_missed = int((sent & (missed + spells.missed_before > 0)).sum())
    if with_missed < FEWEST_FAMILIES or not math.isfinite(error):
        return ratio, math.nan, math.nan
    reach = float(stats.t.ppf(0.975, with_missed - 2)) * error
    return ratio, math.exp(slope - reach), math.exp(slope + reach)


def refreshers(seen: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Tell by step whether refreshers of the dressing change helped.

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
        Columns of `REFRESHERS`, by step; see :func:`effect_of`.

    *Source:* project definition, definitions §8.
    """
    first_on = _refreshed_on(records, "min")
    rows = []
    steps = [s for s in seen["step"].unique() if s != NO_SIGN_OFF]
    for step in sorted(steps):
        own = seen[(seen["step"] == step).to_numpy()]
        family, families = pd.factorize(own["family_id"], sort=True)
        spells = spells_of(
            family.astype(np.int64),
            days_of(own["done_on"]),
            own["missed"].to_numpy(),
            _days(families, first_on),
        )
        found, sent = effect_of(spells), spells.refreshed
        rows.append(
            {
                "step": step,
                "families": found.families,
                "seen_before": int(spells.seen_before[sent].sum()),
                "missed_before": int(spells.missed_before[sent].sum()),
                "seen_after": int(spells.seen_after[sent].sum()),
                "missed_after": int(spells.missed_after[sent].sum()),
                "own_ratio": found.own_ratio,
                "own_lower": found.own_lower,
                "own_upper": found.own_upper,
                "spells": found.spells,
                "adjusted_ratio": found.adjusted_ratio,
                "adjusted_lower": found.adjusted_lower,
                "adjusted_upper": found.adjusted_upper,
                "reading": found.reading,
            }
        )
    return REFRESHERS.build({n: [r[n] for r in rows] for n in REFRESHERS.names})


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
    """Tell of each family's last refresher whether less was missed after it than was to be expected.

    What was to be expected without it allows for the spell before: the family's share is drawn
    toward that of spells without a refresher (beta-binomial), and the chance of so few missed is
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
        usual = spells_of(*occasions, _days(families, first_on))
        last = spells_of(*occasions, _days(families, last_on))
        fitted = fit_beta_binomial(
            usual.missed_before[~usual.refreshed], usual.seen_before[~usual.refreshed]
        )
        told = last.refreshed & (last.missed_before > 0)
        before, out_of = last.missed_before[told], last.seen_before[told]
        after, n_after = last.missed_after[told], last.seen_after[told]
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
                    "family_id": pd.Index(families).take(last.family[told]),
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
