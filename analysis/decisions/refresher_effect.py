"""By how much did refreshers change the share missed, next to families of the same record?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.decisions.refresher_trials import (
    WINDOW_DAYS,
    TrialEffect,
    moments_of,
    trial_effect,
)
from analysis.stats.regression import FEWEST_FAMILIES, clustered_rate_ratio

STEP_DAYS = 28
"""Moments of a family not yet retrained lie so far apart."""

REGRESSION_CAUTION = "Families sent after a bad period improve by themselves; "
CONTROL_CAUTION = "Negative control, a step that no refresher teaches: "

Ints = npt.NDArray[np.int64]
Occasions = tuple[Ints, Ints, npt.NDArray[np.bool_]]
"""Family, day and whether it was missed, of each occasion."""


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
    seen_before: int
    """Of refreshed families, as the next three."""
    missed_before: int
    seen_after: int
    missed_after: int
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
    base = int(day.min()) - 2 * WINDOW_DAYS if len(day) else 0
    width = (int(day.max()) if len(day) else 0) - base + 4 * WINDOW_DAYS
    key = family * width + (day - base)
    order = np.argsort(key, kind="stable")
    family, day, missed, key = family[order], day[order], missed[order], key[order]
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


def trial_of(occasions: Occasions, refreshed_on: Ints) -> TrialEffect | None:
    """Compare retrained families with those of the same record; see `decisions.refresher_trials`."""
    return trial_effect(moments_of(*occasions, refreshed_on), len(refreshed_on))


def effect_of(
    occasions: Occasions, refreshed_on: Ints, control: TrialEffect | None = None
) -> Effect:
    """Compare refreshed families with themselves and with families of the same record.

    Parameters
    ----------
    occasions : tuple of family, day, missed
        As for :func:`before_and_after`.
    refreshed_on : int64 array, shape (families,)
        First refresher; the largest int64 for none.
    control : TrialEffect, optional
        Of the same families' occasions of a step that no refresher teaches: :func:`trial_of`.

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
    if not _confirmed(found, low, high, control):
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
    sent = pairs.refreshed
    moments = moments_of(*occasions, refreshed_on)
    found = trial_effect(moments, len(refreshed_on))
    effect = Effect(
        int(sent.sum()),
        int(pairs.seen_before[sent].sum()),
        int(pairs.missed_before[sent].sum()),
        int(pairs.seen_after[sent].sum()),
        int(pairs.missed_after[sent].sum()),
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


def _confirmed(found: TrialEffect, low: float, high: float, control: TrialEffect | None) -> bool:
    """Whether the control step confirms that limits leave out 1; limits that hold it may stay."""
    if control is None or control.families < FEWEST_FAMILIES:
        return False
    if low <= 0 <= high:
        return True
    error = float(np.sqrt(((found.by_family - control.by_family) ** 2).sum()))
    fewer = min(found.families, control.families)
    below, above = _limits(found.slope - control.slope, error, fewer)
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
