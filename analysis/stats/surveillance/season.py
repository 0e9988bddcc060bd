"""How does a rate swing over the year, and how sure is that?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.stats.inputs import FloatArray

USUAL = 0.25
"""Standard deviation of each coefficient before anything is seen: a swing of a third is usual."""
_STEPS = 25


@dataclass(frozen=True)
class Season:
    """One wave a year in the logarithm of a rate: coefficients of cosine and sine."""

    coefficients: FloatArray
    """Shape (2,)."""
    covariance: FloatArray
    """Shape (2, 2): what is still uncertain of them."""

    def factor(self, turn: FloatArray, coefficients: FloatArray | None = None) -> FloatArray:
        """Rate over its middle of the year, at parts of a year from 0 to 1."""
        of = self.coefficients if coefficients is None else coefficients
        return np.asarray(np.exp(of @ np.stack(waves(turn))))

    def sampled(self, rng: np.random.Generator, count: int) -> FloatArray:
        """Coefficients as likely as they are, shape (count, 2)."""
        root = np.linalg.cholesky(self.covariance)
        return np.asarray(self.coefficients + rng.standard_normal((count, 2)) @ root.T)


def waves(turn: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cosine and sine of parts of a year."""
    return np.cos(2 * np.pi * turn), np.sin(2 * np.pi * turn)


def season(
    events: npt.ArrayLike, line_days: npt.ArrayLike, turn: npt.ArrayLike, dispersion: float = 1.0
) -> Season:
    """Wave of a rate over the year, adjusted towards none where events are few.

    Parameters
    ----------
    events, line_days : array_like, shape (steps,)
        Counts and days of the baseline.
    turn : array_like of float, shape (steps,)
        Part of the year that has passed at each step, 0 to 1.
    dispersion : float
        Variance over mean of the counts, 1 or more.

    Returns
    -------
    Season
        Without events: no wave, with the uncertainty of `USUAL`.

    Notes
    -----
    Poisson regression with one harmonic and a free level; each coefficient is normal around 0 before
    (`USUAL`), the uncertainty is that of the normal approximation at the likeliest values. With a
    baseline of less than a year wave and level are confounded, and the uncertainty shows it.

    Source: harmonic Poisson regression, as in Serfling, Public Health Rep 1963;78:494 for normal
    counts (from memory); the prior is a choice of this project.

    Examples
    --------
    >>> month = np.arange(24) / 12
    >>> swing = np.exp(0.5 * np.cos(2 * np.pi * month))
    >>> season(1000 * swing, [1000] * 24, month).coefficients.round(2).tolist()
    [0.5, 0.0]
    """
    counts, days = np.asarray(events, np.float64), np.asarray(line_days, np.float64)
    total = counts.sum()
    prior = np.diag([0.0, USUAL**-2, USUAL**-2])
    if total == 0 or days.sum() == 0:
        return Season(np.zeros(2), np.diag([USUAL**2] * 2))
    design = np.stack([np.ones(len(counts)), *waves(np.asarray(turn, np.float64))], axis=1)
    found = np.array([np.log(total / days.sum()), 0.0, 0.0])
    curvature = prior
    for _ in range(_STEPS):
        mean = days * np.exp(design @ found)
        slope = design.T @ (counts - mean) / dispersion - prior @ found
        curvature = (design * mean[:, None]).T @ design / dispersion + prior
        step = np.linalg.solve(curvature, slope)
        found = found + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-10:
            break
    return Season(found[1:], np.linalg.inv(curvature)[1:, 1:])
