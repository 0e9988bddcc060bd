"""Above which value does the statistic of any cell count as a signal?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.stats.inputs import FloatArray, IntArray
from analysis.stats.surveillance.followed import Units
from analysis.stats.surveillance.statistic import log_statistic

REPLICATES = 200
SEED = 20_313


@dataclass(frozen=True)
class Threshold:
    """Value above which a cell gives a signal, and how strong chance alone becomes."""

    value: float
    """Logarithm, as `log_statistic`; nan where no cell is followed."""
    largest: FloatArray
    """Largest statistic of all cells in each steady programme, in order of size."""

    def chance_of(self, strength: float) -> float:
        """Share of steady programmes with a statistic as large in any cell, at least 1 / (n + 1)."""
        n = len(self.largest)
        return float((n - np.searchsorted(self.largest, strength) + 1) / (n + 1))


def largest_of(
    units: Units, event: int, *, replicates: int = REPLICATES, seed: int = SEED
) -> FloatArray:
    """Largest statistic of an event over all cells and steps in each steady programme.

    Steady programmes with the same families, line-days, sites and rates are simulated; families
    differ as much as they do here (gamma), and the season is as uncertain as it is here.

    Parameters
    ----------
    units : Units
        The event.
    event : int
        Its number among all that are followed: each has random numbers of its own.
    replicates : int
        Programmes simulated.
    seed : int
        Of the random generator: the same input gives the same numbers.

    Returns
    -------
    array of float, shape (replicates,)
        In order of the programmes; ``-inf`` where no cell is followed.

    *Source:* parametric bootstrap.
    """
    largest = np.full(replicates, -np.inf)
    rng = np.random.default_rng([seed, event])
    for counts, part in steady(units, replicates, rng):
        largest[part] = log_statistic(units.cells, counts).max(axis=(1, 2), initial=-np.inf)
    return largest


def threshold(by_event: Sequence[FloatArray], chance: float) -> Threshold:
    """Value that the statistic of any cell passes with a given chance if nothing changes.

    Parameters
    ----------
    by_event : sequence of array of float, shape (replicates,)
        Of all events that are followed at once, as :func:`largest_of` gives them.
    chance : float in (0, 1)
        Of one false signal or more over all steps followed; the error of it, p, is about
        ``sqrt(p (1 - p) / replicates)``.

    Returns
    -------
    Threshold

    Raises
    ------
    ValueError
        `chance` outside (0, 1).

    *Source:* the largest of all cells as for any family of tests.
    """
    if not 0 < chance < 1:
        raise ValueError(f"chance must be between 0 and 1, but is {chance!r}")
    largest = np.max(by_event, axis=0) if len(by_event) else np.full(REPLICATES, -np.inf)
    # Three decimals: the last bits of logarithms differ between processors.
    largest = np.sort(np.round(largest, 3))
    if not np.isfinite(largest).any():
        return Threshold(math.nan, largest)
    return Threshold(float(np.quantile(largest, 1 - chance, method="higher")), largest)


_AT_ONCE = 2_000_000
"""Counts of one part of the replicates."""
_GRAIN = 2.0**16
"""Families' rates are multiples of its inverse, so that their sums are exact in any order."""


def steady(
    units: Units, replicates: int, rng: np.random.Generator
) -> Iterator[tuple[IntArray, slice]]:
    """Counts of steady programmes, shape (replicates, cells, steps), in parts."""
    cells, steps = units.cells.line_days.shape
    part = max(1, _AT_ONCE // max(1, cells * steps))
    bounds = np.searchsorted(units.site, np.arange(cells))
    for first in range(0, replicates, part):
        count = min(part, replicates - first)
        mean = np.empty((count, cells - 1, steps))
        for site in range(cells - 1):
            days = units.line_days[bounds[site] : bounds[site + 1]].astype(np.float64)
            if units.spread > 1e-6:
                shape = 1 / units.spread
                own = rng.gamma(shape, units.spread, (count, len(days)))
                mean[:, site] = np.rint(own * _GRAIN) @ days / _GRAIN
            else:
                mean[:, site] = days.sum(axis=0)
        waves = units.season.sampled(rng, count)
        factor = np.stack([units.season.factor(units.calendar.turn, wave) for wave in waves])
        mean *= units.rate[:, None] * factor[:, None, :]
        of_sites = rng.poisson(mean)
        counts = np.concatenate([of_sites, of_sites.sum(axis=1, keepdims=True)], axis=1)
        yield counts, slice(first, first + count)
