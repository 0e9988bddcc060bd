"""Is a rate rising or falling once a yearly season is removed?"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import FloatArray, tail_of, whole_numbers
from analysis.stats.regression import FEWEST_FAMILIES, ClusteredRatio, poisson_trend

YEARS = 2
"""Fewer whole years cannot separate a season from a trend."""
_ROUNDS = 50
_CLOSE = 1e-10


def seasonal_trend(
    events: npt.ArrayLike,
    line_days: npt.ArrayLike,
    period: npt.ArrayLike,
    family: npt.ArrayLike,
    *,
    year: int,
    confidence: float = 0.95,
) -> ClusteredRatio:
    """Ratio of the rate of one period to that of the period before, next to a yearly wave.

    Parameters
    ----------
    events, line_days, period, family
        As for `poisson_trend`.
    year : int
        Periods in a year: 12 months or 4 quarters.
    confidence : float in (0, 1)
        Two-sided.

    Returns
    -------
    ClusteredRatio
        As of `poisson_trend`, and the same where the periods with line-days span fewer than
        `YEARS` years or the fit has no finite estimate.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole, arrays of unequal length.

    Notes
    -----
    Source: Poisson regression with one sine and one cosine of the year, the usual model of a
    season; errors clustered by family as in `stats.regression`, with k - 4 degrees of freedom.

    Examples
    --------
    >>> months, families = np.repeat(np.arange(36), 12), np.tile(np.arange(12), 36)
    >>> wave = 40 * (1 + 0.5 * np.sin(2 * np.pi * months / 12))
    >>> found = seasonal_trend(wave.round().astype(int), [30] * 432, months, families, year=12)
    >>> round(found.ratio, 3)
    1.0
    """
    plain = poisson_trend(events, line_days, period, family, confidence=confidence)
    counts, days = whole_numbers(events, "events"), whole_numbers(line_days, "line_days")
    step, used = whole_numbers(period, "period"), days > 0
    counts, days, step = counts[used], days[used], step[used]
    of_family = np.unique(np.asarray(family)[used], return_inverse=True)[1]
    spanned = int(step.max() - step.min()) + 1 if len(step) else 0
    if spanned < YEARS * year or plain.families_with_events < FEWEST_FAMILIES + 2:
        return plain
    at = step - step.min()
    angle = 2 * np.pi * at / year
    centred = at - float(days @ at) / float(days.sum())
    model = np.column_stack([np.ones(len(at)), centred, np.sin(angle), np.cos(angle)])
    fit = _fit(counts, days, model)
    if fit is None:
        return plain
    slope, inverse, mean = fit
    scores = np.zeros((int(of_family.max()) + 1, 4))
    np.add.at(scores, of_family, (counts - mean)[:, None] * model)
    df = plain.families_with_events - 4
    clustered = (inverse @ scores.T @ scores @ inverse)[1, 1] * plain.families_with_events / df
    error = math.sqrt(max(float(inverse[1, 1]), float(clustered)))
    reach = float(special.stdtrit(df, 1 - tail_of(confidence))) * error
    return ClusteredRatio(
        math.exp(slope),
        math.exp(slope - reach),
        math.exp(slope + reach),
        2 * float(special.stdtr(df, -abs(slope) / error)),
        plain.families,
        plain.families_with_events,
        plain.events,
        plain.events_left_out,
        confidence,
    )


def _fit(
    counts: npt.NDArray[np.int64], days: npt.NDArray[np.int64], model: FloatArray
) -> tuple[float, FloatArray, FloatArray] | None:
    """Slope, inverse information and means by Newton's method; None where it does not settle."""
    beta = np.zeros(model.shape[1])
    beta[0] = math.log(counts.sum() / days.sum())
    for _ in range(_ROUNDS):
        mean = np.asarray(days * np.exp(np.clip(model @ beta, -50, 50)), dtype=np.float64)
        information = model.T @ (mean[:, None] * model)
        if np.linalg.cond(information) > 1 / _CLOSE:
            return None
        move = np.linalg.solve(information, model.T @ (counts - mean))
        beta = beta + np.clip(move, -2, 2)
        if np.abs(move).max() < _CLOSE:
            inverse = np.asarray(np.linalg.inv(information), dtype=np.float64)
            return float(beta[1]), inverse, mean
    return None
