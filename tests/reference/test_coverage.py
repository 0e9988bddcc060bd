"""How often the limits hold the truth, summed over all counts: no simulation, no chance.

Analytic throughout: the counts' own distribution says how often each count occurs.
"""

import numpy as np
import pytest
from scipy import stats

from analysis.stats.comparison import exact_rate_ratio, midp_rate_ratio
from analysis.stats.intervals import (
    exact_count_interval,
    exact_share_interval,
    midp_count_interval,
)

MEANS = np.array([0.5, 1, 2, 3.5, 5, 8, 12, 20, 35, 50])


def coverage(limits: object, mean: float) -> float:
    counts = np.arange(int(mean + 12 * np.sqrt(mean) + 20))
    holds = (limits.lower[counts] <= mean) & (mean <= limits.upper[counts])
    return float(stats.poisson.pmf(counts, mean)[holds].sum())


def test_exact_limits_of_a_count_hold_the_truth_at_least_as_often_as_they_claim():
    limits = exact_count_interval(np.arange(300))
    assert min(coverage(limits, mean) for mean in MEANS) >= 0.95


def test_midp_limits_of_a_count_hold_the_truth_about_as_often_as_they_claim():
    limits = midp_count_interval(np.arange(300))
    found = [coverage(limits, mean) for mean in np.linspace(2, 50, 200)]
    assert np.mean(found) == pytest.approx(0.95, abs=0.006)
    assert min(found) > 0.92


def test_exact_limits_of_a_share_hold_the_truth_at_least_as_often_as_they_claim():
    counts = np.arange(21)
    limits = exact_share_interval(counts, 20)
    share = np.linspace(0.02, 0.98, 49)[:, None]
    holds = (limits.lower <= share) & (share <= limits.upper)
    assert ((stats.binom.pmf(counts, 20, share) * holds).sum(axis=1) >= 0.95).all()


@pytest.mark.parametrize(("first_days", "ratio"), [(1000, 1.0), (1000, 3.0), (300, 0.5)])
def test_the_exact_ratio_leaves_the_truth_out_no_more_often_than_it_claims(
    first_days: int, ratio: float
):
    # Second group: 6 events expected in 1000 days.
    first, second = np.meshgrid(np.arange(80), np.arange(40), indexing="ij")
    chance = np.outer(
        stats.poisson.pmf(np.arange(80), 0.006 * ratio * first_days),
        stats.poisson.pmf(np.arange(40), 6),
    )
    found = exact_rate_ratio(first, first_days, second, 1000)
    assert chance[(found.lower <= ratio) & (ratio <= found.upper)].sum() >= 0.95
    midp = midp_rate_ratio(first, first_days, second, 1000)
    assert chance[(midp.lower <= ratio) & (ratio <= midp.upper)].sum() == pytest.approx(
        0.96, abs=0.025
    )
