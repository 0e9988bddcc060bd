"""Shares averaged over how families may differ, against a slow integral written another way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from analysis.stats.averaged_shares import average_shares
from tests.cases import cases

FINE = 240


def slow(
    counts: list[tuple[int, int]], wanted: list[tuple[int, int]], limit: float
) -> list[tuple[float, float]]:
    """Mean and probability above a limit of each, by sums over equal steps of the priors' scales.

    The correlation is uniform; the programme's share is ``sin(pi u / 2) ** 2`` with u uniform,
    which is Jeffreys' prior. Plain loops over log Gamma.
    """
    weights, shapes = [], []
    for i in range(FINE):
        alike = 0.001 + (0.98 - 0.001) * (i + 0.5) / FINE
        both = 1 / alike - 1
        for j in range(FINE):
            share = math.sin(math.pi * (j + 0.5) / FINE / 2) ** 2
            a, b = share * both, (1 - share) * both
            weight = sum(
                math.lgamma(a + x)
                + math.lgamma(b + n - x)
                - math.lgamma(both + n)
                + math.lgamma(both)
                - math.lgamma(a)
                - math.lgamma(b)
                for x, n in counts
            )
            weights.append(weight)
            shapes.append((a, b))
    w = np.exp(np.array(weights) - max(weights))
    w /= w.sum()
    a, b = np.array(shapes).T
    return [
        (
            float(w @ ((a + x) / (a + b + n))),
            float(w @ special.betaincc(a + x, b + n - x, limit)),
        )
        for x, n in wanted
    ]


@pytest.mark.parametrize(
    "counts",
    [
        [(1, 22), (9, 18), (4, 20), (5, 20), (4, 18)],
        [(0, 5), (0, 8), (0, 3)],
        [(3, 4)],
        [(0, 10), (10, 10), (9, 10), (1, 10)],
        [(5, 20)] * 12 + [(1, 22), (9, 18)],
    ],
)
def test_the_grid_equals_a_slow_integral(counts: list[tuple[int, int]]) -> None:
    found = average_shares(*np.array(counts).T)
    wanted = [counts[0], counts[-1], (0, 0), (7, 7)]
    means, above = zip(*slow(counts, wanted, 0.25), strict=True)
    assert found.posterior_mean(*np.array(wanted).T) == pytest.approx(means, abs=0.006)
    assert found.probability_above(0.25, *np.array(wanted).T) == pytest.approx(above, abs=0.012)


def test_families_that_look_alike_still_differ_by_their_own_counts() -> None:
    # 40 families whose counts show no difference beyond chance, two of them far apart
    counts = [(5, 20)] * 38 + [(1, 22), (9, 18)]
    found = average_shares(*np.array(counts).T)
    low, high = found.probability_above(0.25, [1, 9], [22, 18])
    assert high > low + 0.3


def test_seven_of_seven_is_above_and_none_of_fifty_one_is_not() -> None:
    found = average_shares([7, 0, 3, 2, 4, 1], [7, 51, 20, 22, 19, 23])
    missed_all, missed_none = found.probability_above(0.2, [7, 0], [7, 51])
    assert missed_all > 0.95
    assert missed_none < 0.02


def test_a_programme_of_equal_families_near_the_limit_is_not_called_above_it() -> None:
    chance = np.random.default_rng(20310401)
    called = []
    for _ in range(30):
        seen = chance.integers(8, 27, 40)
        missed = chance.binomial(seen, 0.24)
        called.append(
            (average_shares(missed, seen).probability_above(0.25, missed, seen) >= 0.8).sum()
        )
    assert np.mean(called) <= 4


counts_of = st.lists(
    st.integers(1, 30).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
    min_size=1,
    max_size=15,
)


@given(counts_of)
@cases(40)
def test_more_missed_is_never_less_likely_above(counts: list[tuple[int, int]]) -> None:
    found = average_shares(*np.array(counts).T)
    above = found.probability_above(0.2, np.arange(13), np.full(13, 12))
    mean = found.posterior_mean(np.arange(13), np.full(13, 12))
    assert (np.diff(above) >= -1e-12).all()
    assert (np.diff(mean) > 0).all()
    assert ((above >= 0) & (above <= 1)).all()


@given(counts_of, st.randoms(use_true_random=False))
@cases(20)
def test_the_order_of_families_does_not_matter(counts: list[tuple[int, int]], chance) -> None:
    shuffled = chance.sample(counts, len(counts))
    first, again = (average_shares(*np.array(c).T) for c in (counts, shuffled))
    assert np.allclose(
        first.probability_above(0.2, [2], [9]), again.probability_above(0.2, [2], [9]), atol=1e-12
    )


def test_without_a_denominator_nothing_is_known() -> None:
    found = average_shares([0, 0], [0, 0])
    assert np.isnan(found.posterior_mean([0], [4])).all()
    assert np.isnan(found.probability_above(0.2, [0], [4])).all()
