"""Between which limits does the share of lines in place lie on each day?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from analysis.stats.day_table import Floats, Ints

NEXT_TO_NOTHING = 1e-12
"""A share nearer than this to 0 or 1 is 0 or 1."""


def normal_quantile(confidence: float) -> float:
    """Quantile of the standard normal for two-sided limits.

    Raises
    ------
    ValueError
        `confidence` is not between 0 and 1.

    Examples
    --------
    >>> round(normal_quantile(0.95), 6)
    1.959964
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, not {confidence}")
    return float(ndtri((1 + confidence) / 2))


def log_log_limits(share: Floats, std_error: Floats, z: float) -> tuple[Floats, Floats]:
    """Limits of a share on the scale log(-log); nan where the share is 0 or 1.

    Parameters
    ----------
    share, std_error : array of float, one shape
        Shares and their standard errors.
    z : float
        From :func:`normal_quantile`.

    Returns
    -------
    two arrays of float
        Lower and upper limits. For a cumulative incidence F give ``1 - F`` and take both from 1.
    """
    inside = (share > NEXT_TO_NOTHING) & (share < 1 - NEXT_TO_NOTHING)
    safe = np.where(inside, share, 0.5)
    width = np.where(inside, z * std_error / (safe * np.log(safe)), np.nan)
    return safe ** np.exp(-width), safe ** np.exp(width)


def never_rising(lower: Floats, upper: Floats) -> tuple[Floats, Floats]:
    """Limits of a share that does not rise, joined so that they do not rise either.

    A share that is at least L on a later day was at least L before, and one that was at most U
    stays so. Where few are at risk early, the limits of a day by itself are wider than that.

    Examples
    --------
    >>> lower, upper = never_rising(np.array([1, 0.4, 0.8, 0.7]), np.array([1, 1, 0.9, 0.95]))
    >>> lower.tolist(), upper.tolist()
    ([1.0, 0.8, 0.8, 0.7], [1.0, 1.0, 0.9, 0.9])
    """
    later = np.fmax.accumulate(lower[::-1])[::-1]
    return np.where(np.isnan(lower), np.nan, later), np.fmin.accumulate(upper)


def limit_without_events(at_risk: Ints, confidence: float) -> Floats:
    """Lowest share that could have given no event so far, by day, shape (n,).

    The first row is the starting day, on which nothing can happen: 1.
    """
    fewest = np.minimum.accumulate(at_risk[1:])
    alpha = 1 - confidence
    lowest = np.where(fewest > 0, (alpha / 2) ** (1 / np.maximum(fewest, 1)), 0.0)
    return np.concatenate(([1.0], lowest))


def carried(limit: Floats, here: npt.NDArray[np.bool_]) -> Floats | float:
    """The last limit before the first marked row, for all marked rows."""
    first = int(np.argmax(here))
    return float(limit[first - 1]) if here.any() and first else 1.0
