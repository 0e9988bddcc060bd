"""What would the families have missed without the refresher? Emulated trials answer.

On every occasion of a family that was not retrained before, it either gets its first refresher or
does not: a trial of one family. Families that do are compared with those that do not and whose
record up to that day is the same. Nothing later decides who is compared: a comparison family that is
retrained some weeks afterwards stays in the comparison, all of its follow-up (as assigned). That
understates an effect and never invents one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

WINDOW_DAYS = 91
"""Length of before and after: a quarter, about thirteen weekly changes."""
RECENT_DAYS = 28
MOST_MOMENTS = 200_000
"""Comparison moments used; of more, every second, third … one."""
MOST_IN_QUARTER, MOST_RECENT = 9, 4
"""Counts of missed occasions beyond which families are compared as one group."""
EARLIER_WEIGHT, QUARTER_WEIGHT, WHOLE_WEIGHT = 8.0, 4.0, 16.0
"""Occasions' worth of the programme's share that a family's own share is adjusted by: before the
quarter, in it, and of the whole record."""
_STEPS = 50

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Moments:
    """Moments of families not retrained before them; arrays of one length."""

    family: Ints
    sent: Flags
    """The moment is that of the family's first refresher."""
    seen_earlier: Ints
    missed_earlier: Ints
    """Before the quarter up to and on the moment."""
    seen_quarter: Ints
    missed_quarter: Ints
    missed_recent: Ints
    missed_last: Flags
    """The last occasion was missed."""
    seen_after: Ints
    missed_after: Ints
    """In the quarter after the moment."""


@dataclass(frozen=True)
class TrialEffect:
    """Log of the ratio of shares missed after, and what each family adds to its error."""

    slope: float
    by_family: Floats
    families: int
    """Retrained families that something was missed by, before or after."""

    @property
    def error(self) -> float:
        """Standard error with families as clusters."""
        return float(np.sqrt((self.by_family**2).sum()))


def moments_of(family: Ints, day: Ints, missed: Flags, refreshed_on: Ints) -> Moments:
    """Cut the occasions of families into moments with what came before and after.

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

    Returns
    -------
    Moments
        One for each family's first refresher and one for each occasion before it, with an
        occasion in the quarter before and in the quarter after.
    """
    if not len(day):
        none = np.empty(0, dtype=np.int64)
        return Moments(none, none > 0, none, none, none, none, none, none > 0, none, none)
    base = int(day.min()) - 2 * WINDOW_DAYS
    width = int(day.max()) - base + 4 * WINDOW_DAYS
    key = family * width + (day - base)
    order = np.argsort(key, kind="stable")
    family, day, missed, key = family[order], day[order], missed[order], key[order]
    sums = np.concatenate([[0], np.cumsum(missed)]).astype(np.int64)
    first, last = np.full(len(refreshed_on), np.iinfo(np.int64).max), np.full(len(refreshed_on), -1)
    np.minimum.at(first, family, day)
    np.maximum.at(last, family, day)

    not_yet = np.flatnonzero(day < refreshed_on[family])
    not_yet = not_yet[:: max(1, -(-len(not_yet) // MOST_MOMENTS))]
    sent = np.flatnonzero((refreshed_on <= last) & (refreshed_on >= first))
    of = np.concatenate([family[not_yet], sent])
    moment = np.concatenate([day[not_yet], refreshed_on[sent]])

    def until(limit: Ints) -> Ints:
        """Position behind the occasions of each moment's family before a day."""
        return np.searchsorted(key, of * width + (limit - base))

    start = np.searchsorted(family, of)
    quarter, recent = until(moment - WINDOW_DAYS + 1), until(moment - RECENT_DAYS + 1)
    now, end = until(moment + 1), until(moment + WINDOW_DAYS + 1)
    known = (now > quarter) & (end > now)
    found = Moments(
        family=of,
        sent=np.arange(len(of)) >= len(not_yet),
        seen_earlier=quarter - start,
        missed_earlier=sums[quarter] - sums[start],
        seen_quarter=now - quarter,
        missed_quarter=sums[now] - sums[quarter],
        missed_recent=sums[now] - sums[recent],
        missed_last=missed[np.maximum(now - 1, 0)],
        seen_after=end - now,
        missed_after=sums[end] - sums[now],
    )
    return Moments(*(array[known] for array in vars(found).values()))


def trial_effect(moments: Moments, n_families: int) -> TrialEffect | None:
    """Compare what retrained families missed afterwards with families of the same record.

    - Matched exactly on what was missed in the last quarter, in the last four weeks and on the last
      occasion; comparison moments of a group count together as much as its retrained families.
    - In the matched groups a Poisson regression of what was missed afterwards, with what was seen
      as exposure, on the refresher and the logarithms of the family's shares before the last
      quarter, in it and in the whole record, each adjusted towards the programme's.

    Parameters
    ----------
    moments : Moments
        See :func:`moments_of`.
    n_families : int
        Families are numbered below this.

    Returns
    -------
    TrialEffect or None
        None without matched families, where one side missed nothing afterwards, or where so few
        families' records alone explain what each missed.

    Notes
    -----
    Source: sequence of nested trials: Hernán et al., Epidemiology 2008;19:766; coarsened exact
    matching: Iacus, King and Porro, Polit Anal 2012;20:1; sandwich by families as in
    `stats.regression` (all from memory).
    """
    group = (
        np.minimum(moments.missed_quarter, MOST_IN_QUARTER) * (MOST_RECENT + 1)
        + np.minimum(moments.missed_recent, MOST_RECENT)
    ) * 2 + moments.missed_last
    number = np.unique(group, return_inverse=True)[1]
    n_sent = np.bincount(number, weights=moments.sent)
    n_others = np.bincount(number, weights=~moments.sent)
    kept = ((n_sent > 0) & (n_others > 0))[number]
    sent = moments.sent[kept]
    missed = moments.missed_after[kept].astype(np.float64)
    if not missed[sent].any() or not missed[~sent].any():
        return None
    weight = np.where(sent, 1.0, (n_sent / np.maximum(n_others, 1))[number[kept]])
    share = max(moments.missed_quarter.sum() / max(moments.seen_quarter.sum(), 1), 1e-3)
    records = (
        (moments.missed_earlier, moments.seen_earlier, EARLIER_WEIGHT),
        (moments.missed_quarter, moments.seen_quarter, QUARTER_WEIGHT),
        (
            moments.missed_earlier + moments.missed_quarter,
            moments.seen_earlier + moments.seen_quarter,
            WHOLE_WEIGHT,
        ),
    )
    shares = [np.log((m[kept] + w * share) / (s[kept] + w)) for m, s, w in records]
    design = np.column_stack([np.ones(len(sent)), sent, *shares])
    design[:, 2:] -= np.average(design[:, 2:], axis=0, weights=weight)
    exposure = np.log(moments.seen_after[kept])
    try:
        slopes, scores, inverse = _poisson(design, missed, exposure, weight)
    except np.linalg.LinAlgError:
        return None
    by_family = np.column_stack(
        [np.bincount(moments.family[kept], weights=c, minlength=n_families) for c in scores.T]
    )
    counted = sent & (missed + moments.missed_quarter[kept] > 0)
    return TrialEffect(
        float(slopes[1]), by_family @ inverse[1], len(np.unique(moments.family[kept][counted]))
    )


def _poisson(
    design: Floats, counts: Floats, offset: Floats, weight: Floats
) -> tuple[Floats, Floats, Floats]:
    """Slopes of a weighted Poisson regression, each row's score, and the inverse information."""
    slopes = np.zeros(design.shape[1])
    slopes[0] = np.log((weight * counts).sum() / (weight * np.exp(offset)).sum())
    # Records that are all alike leave nothing to fit.
    ridge = np.diag(np.where(np.arange(design.shape[1]) < 2, 0.0, 1e-6))
    for _ in range(_STEPS):
        mean = np.exp(design @ slopes + offset)
        information = (design * (weight * mean)[:, None]).T @ design + ridge
        step = np.linalg.solve(information, design.T @ (weight * (counts - mean)))
        slopes = slopes + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-9:
            break
    mean = np.exp(design @ slopes + offset)
    information = (design * (weight * mean)[:, None]).T @ design + ridge
    scores: Floats = design * (weight * (counts - mean))[:, None]
    return slopes, scores, np.linalg.inv(information).astype(np.float64)
