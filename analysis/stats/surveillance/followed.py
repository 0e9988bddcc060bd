"""How are the counts of one event over sites made ready to be followed?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.stats.inputs import FloatArray, IntArray
from analysis.stats.surveillance.season import Season, season
from analysis.stats.surveillance.statistic import Cells

YEAR = 12
SHORTEST = 6
"""Months of the shortest baseline."""
DIFFER = 1.645
"""Standard errors from which on families' counts vary beyond chance: 5 % of alike ones do."""
PRIOR_EVENTS = 2.0
"""A site's rate is adjusted towards the programme average as by so many events."""


@dataclass(frozen=True)
class Calendar:
    """Steps of time inside months."""

    starts: IntArray
    """Step with which each month begins."""
    turn: FloatArray
    """Shape (steps,): part of the year that has passed, 0 to 1."""


@dataclass(frozen=True)
class Units:
    """One event: its cells, and the families whose line-days they add up."""

    cells: Cells
    """One a site, the last one the programme."""
    events: IntArray
    """Shape (cells, steps)."""
    line_days: IntArray
    """Shape (families, steps), in order of site."""
    site: IntArray
    """Shape (families,): number of the site, not falling."""
    rate: FloatArray
    """Shape (sites,): events a line-day if nothing changes."""
    spread: float
    """Squared coefficient of variation of families' own rates; 0: families are alike."""
    season: Season
    calendar: Calendar
    judged_days: IntArray
    """Shape (cells, steps): line-days that count."""
    all_days: IntArray
    """The same with those of steps that cannot be judged."""

    def without_families(self) -> Units:
        """The same without the line-days of families: as small as its cells."""
        steps = self.line_days.shape[1]
        none = np.zeros(0, dtype=np.int64)
        return replace(self, line_days=none.reshape(0, steps), site=none)


def followed(
    events: npt.ArrayLike,
    line_days: npt.ArrayLike,
    site: npt.ArrayLike,
    sites: int,
    calendar: Calendar,
    judged: npt.ArrayLike | None = None,
    settled: npt.ArrayLike | None = None,
) -> Units:
    """Cells, baselines, rates, spread and season of one event.

    Parameters
    ----------
    events, line_days : array_like of int, shape (families, steps)
        A family that changed its site has one row a site.
    site : array_like of int, shape (families,)
        Number of the site.
    sites : int
        Number of sites.
    calendar : Calendar
        Of the steps.
    judged : array_like of bool, shape (sites + 1, steps), optional
        Steps whose log coverage lets them be judged, the last row of the programme; others count
        neither days nor events. Default: all.
    settled : array_like of bool, shape (steps,), optional
        Steps that late reports can no longer change; a cell with another one in its baseline is not
        followed yet. Default: all.

    Returns
    -------
    Units

    Notes
    -----
    A baseline is a cell's first year with line-days, or more whole years, so that 12 to 23 months
    are followed; 6 months where there are fewer than 18. Whole years hold each season once.

    Source: project definition, definitions §9. The spread is that of moments of families' counts
    around their site's rate, in the baseline and after it apart; the score test of extra variance
    (Dean and Lawless, J Am Stat Assoc 1989;84:467, from memory) decides whether there is any.
    """
    order = np.argsort(np.asarray(site), kind="stable")
    of_site = np.asarray(site, np.int64)[order]
    counts, days = np.asarray(events)[order], np.asarray(line_days)[order]
    usable = _usable(judged, sites, counts.shape[1])
    bounds = np.searchsorted(of_site, np.arange(sites + 1))
    known = _sums(days, bounds)
    known = np.vstack([known, known.sum(axis=0)])
    counts, days = counts * usable[of_site], days * usable[of_site]
    by_site = [_sums(frame, bounds) for frame in (counts, days)]
    whole = [np.vstack([frame, frame.sum(axis=0) * usable[-1]]) for frame in by_site]
    final = np.ones(counts.shape[1], np.bool_) if settled is None else np.asarray(settled, np.bool_)
    base_from, from_step = _baselines(whole[1], calendar.starts, final)
    plain = Cells(
        whole[1].astype(np.float64), calendar.starts, base_from, from_step, np.ones(sites + 1)
    )
    spread, dispersion = _spread(counts, days, of_site, plain)
    base = plain.in_baseline
    wave = season(
        whole[0][-1][base[-1]], whole[1][-1][base[-1]], calendar.turn[base[-1]], dispersion
    )
    seen, before = (np.where(base, frame, 0).sum(axis=1) for frame in whole)
    common = max(seen[-1], 0.5) / max(before[-1], 1)
    rate = (seen[:-1] + PRIOR_EVENTS) / (before[:-1] + PRIOR_EVENTS / common)
    cells = Cells(
        whole[1] * wave.factor(calendar.turn),
        calendar.starts,
        base_from,
        from_step,
        np.full(sites + 1, dispersion),
    )
    return Units(cells, whole[0], days, of_site, rate, spread, wave, calendar, whole[1], known)


def _usable(judged: npt.ArrayLike | None, sites: int, steps: int) -> npt.NDArray[np.bool_]:
    if judged is None:
        return np.ones((sites + 1, steps), dtype=np.bool_)
    return np.asarray(judged, dtype=np.bool_)


def _sums(frame: IntArray, bounds: IntArray) -> IntArray:
    """Sums over the families of each site."""
    total = np.zeros((len(frame) + 1, frame.shape[1]), dtype=np.int64)
    np.cumsum(frame, axis=0, out=total[1:])
    return total[bounds[1:]] - total[bounds[:-1]]


def baseline_months(months: int) -> int:
    """Months of the baseline among so many in all; 0: too few to follow anything.

    Examples
    --------
    >>> [baseline_months(n) for n in (6, 7, 17, 18, 24, 35, 36, 60)]
    [0, 6, 6, 12, 12, 12, 24, 48]
    """
    if months <= SHORTEST:
        return 0
    if months < SHORTEST + YEAR:
        return SHORTEST
    return max(YEAR, YEAR * ((months - YEAR) // YEAR))


def _baselines(
    days: IntArray, starts: IntArray, final: npt.NDArray[np.bool_]
) -> tuple[IntArray, IntArray]:
    """First step of each cell's baseline, and of what is followed; the loop runs over cells."""
    steps = days.shape[1]
    first, then = np.zeros(len(days), np.int64), np.full(len(days), steps, np.int64)
    for cell, row in enumerate(days):
        seen = np.flatnonzero(row)
        if not len(seen):
            continue
        month = int(np.searchsorted(starts, seen[0], side="right")) - 1
        # A month that began before the first line-day is not whole.
        month += int(seen[0] > starts[month]) if month + 1 < len(starts) else 0
        length = baseline_months(len(starts) - month)
        first[cell] = starts[month]
        if length and final[starts[month] : starts[month + length]].all():
            then[cell] = starts[month + length]
    return first, then


def _spread(counts: IntArray, days: IntArray, site: IntArray, cells: Cells) -> tuple[float, float]:
    """Spread of families' rates, and variance over mean of a count that they add up to."""
    base = cells.in_baseline[:-1][site]
    after = np.arange(days.shape[1]) >= cells.followed_from[:-1][site][:, None]
    seen, mean, fitted = np.zeros(len(site)), np.zeros(len(site)), 0.0
    for block in (base, after):
        of, time = (np.where(block, frame, 0).sum(axis=1) for frame in (counts, days))
        total, whole = np.bincount(site, of), np.bincount(site, time)
        expected = time * np.divide(total, whole, out=np.zeros(len(whole)), where=whole > 0)[site]
        # What fitting the site's rate takes off the squares.
        parts = np.divide(expected**2, total[site], out=np.zeros(len(site)), where=total[site] > 0)
        fitted += float(parts.sum())
        seen, mean = seen + of, mean + expected
    squares = float((mean**2).sum())
    if not squares:
        return 0.0, 1.0
    excess = float(((seen - mean) ** 2 - seen).sum()) + fitted
    if excess < DIFFER * math.sqrt(2 * squares):
        return 0.0, 1.0
    spread = excess / squares
    return spread, 1 + spread * squares / float(mean.sum())
