"""Statistic, threshold, season and size of a rise: against sums over all outcomes, and what must hold."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.stats.surveillance import (
    Calendar,
    Cells,
    change,
    followed,
    largest_of,
    log_statistic,
    threshold,
)
from analysis.stats.surveillance.followed import baseline_months
from analysis.stats.surveillance.season import season
from analysis.stats.surveillance.threshold import steady
from tests.cases import cases

FEW = cases(25)
MONTHS = 24
STEPS = 4 * MONTHS
CALENDAR = Calendar(np.arange(0, STEPS, 4), (np.arange(STEPS) % 48 + 0.5) / 48)
DAYS = st.lists(st.integers(1, 400), min_size=3, max_size=4)


def months(days: list[int], dispersion: float = 1.0) -> Cells:
    """One cell; the first month is the baseline, a rise may start with each later one."""
    return Cells(
        np.array([days], np.float64),
        np.arange(len(days)),
        np.array([0]),
        np.array([1]),
        np.array([dispersion]),
    )


def programme(seed: int, sites: int = 2, families: int = 40, spread: float = 0.0) -> tuple:
    rng = np.random.default_rng(seed)
    days = rng.integers(0, 9, (families, STEPS))
    own = rng.gamma(1 / spread, spread, families) if spread else np.ones(families)
    return rng.poisson(0.002 * days * own[:, None]), days, rng.integers(0, sites, families)


@FEW
@given(DAYS, st.integers(0, 5))
def test_if_nothing_changes_the_statistic_is_on_average_the_number_of_starts(days, total):
    # Given their sum, counts of months with one rate are multinomial: all outcomes are summed.
    share = np.array(days) / sum(days)
    mean = 0.0
    for counts in itertools.product(range(total + 1), repeat=len(days)):
        if sum(counts) == total:
            chance = stats.multinomial.pmf(counts, total, share)
            mean += chance * math.exp(log_statistic(months(days), [list(counts)])[0, -1])
    assert mean == pytest.approx(len(days) - 1)


@FEW
@given(DAYS, st.lists(st.integers(0, 9), min_size=4, max_size=4))
def test_the_evidence_for_one_start_is_a_ratio_of_binomial_chances(days, counts):
    two = [days[0], sum(days[1:])]
    seen = [counts[0], sum(counts[1 : len(days)])]
    before, after = two
    wanted = np.mean(
        [
            stats.binom.pmf(seen[1], sum(seen), r * after / (before + r * after))
            / stats.binom.pmf(seen[1], sum(seen), after / (before + after))
            for r in (1.5, 2.0, 3.0)
        ]
    )
    assert math.exp(log_statistic(months(two), [seen])[0, -1]) == pytest.approx(wanted)


@FEW
@given(DAYS, st.lists(st.integers(0, 9), min_size=4, max_size=4), st.integers(2, 50))
def test_only_the_ratios_of_line_days_matter(days, counts, times):
    seen = [counts[: len(days)]]
    plain, larger = (log_statistic(months([d * k for d in days]), seen) for k in (1, times))
    assert plain == pytest.approx(larger)


def test_replicates_are_read_as_one_by_one():
    units = followed(*programme(1), 2, CALENDAR)
    many = np.stack([units.events, units.events[:, ::-1]])
    one_by_one = np.stack([log_statistic(units.cells, counts) for counts in many])
    assert log_statistic(units.cells, many) == pytest.approx(one_by_one, abs=1e-4)


def test_the_same_seed_gives_the_same_bits_and_another_one_another_threshold():
    units = followed(*programme(2, spread=1.0), 2, CALENDAR)
    first, again = (threshold([largest_of(units, 0, replicates=60)], 0.3) for _ in range(2))
    assert first.value == again.value
    assert first.largest.tobytes() == again.largest.tobytes()
    other = largest_of(units, 0, replicates=60, seed=4)
    assert threshold([other], 0.3).value != first.value


def test_so_many_simulated_programmes_pass_the_threshold():
    largest = [largest_of(followed(*programme(3), 2, CALENDAR), 0, replicates=80)]
    found = threshold(largest, 0.25)
    assert (found.largest >= found.value).mean() == pytest.approx(0.25, abs=0.02)
    assert found.chance_of(-np.inf) == 1
    assert found.chance_of(np.inf) == pytest.approx(1 / 81)
    rarer = threshold(largest, 0.05)
    assert rarer.value > found.value


def test_simulated_programmes_have_the_rates_and_line_days_of_the_real_one():
    units = followed(*programme(4, spread=1.0), 2, CALENDAR)
    units = replace(units, season=replace(units.season, covariance=1e-12 * np.eye(2)))
    drawn = np.concatenate([c for c, _ in steady(units, 400, np.random.default_rng(0))])
    per_site = drawn.sum(axis=(0, 2))[:-1] / 400
    wave = units.season.factor(CALENDAR.turn)
    wanted = [
        units.rate[s] * (units.line_days[units.site == s].sum(axis=0) * wave).sum() for s in (0, 1)
    ]
    assert per_site == pytest.approx(wanted, rel=0.15)
    assert (drawn[:, -1] == drawn[:, :-1].sum(axis=1)).all()


def test_nothing_to_follow_has_no_threshold():
    counts, days, site = programme(5)
    units = followed(
        counts[:, :20], days[:, :20], site, 2, Calendar(np.arange(0, 20, 4), CALENDAR.turn[:20])
    )
    largest = [largest_of(units, 0, replicates=20)]
    found = threshold(largest, 0.3)
    assert math.isnan(found.value)
    assert np.isneginf(log_statistic(units.cells, units.events)).all()
    assert change(units.cells, 0, units.events[0], 19) is None
    with pytest.raises(ValueError, match="between 0 and 1"):
        threshold(largest, 1.0)


@FEW
@given(st.integers(0, 200))
def test_a_baseline_is_six_months_or_whole_years_and_leaves_a_year_to_follow(n):
    length = baseline_months(n)
    assert length in (0, 6) or length % 12 == 0
    assert length < max(n, 1)
    if n >= 24:
        assert 12 <= n - length < 24


def test_a_season_is_found_and_few_events_show_none():
    turn = np.arange(24) / 12
    days = np.full(24, 1000.0)
    swing = np.exp(0.4 * np.sin(2 * np.pi * turn))
    clear = season(np.rint(200 * swing), days, turn)
    assert clear.coefficients == pytest.approx([0, 0.4], abs=0.02)
    assert clear.factor(turn) == pytest.approx(swing, rel=0.03)
    weak = season([1, 0, 0, 0] * 6, days, turn)
    assert np.abs(weak.coefficients).max() < 0.15
    assert np.diag(weak.covariance) == pytest.approx([0.0625] * 2, rel=0.25)
    none = season([0] * 24, days, turn)
    assert none.factor(turn).tolist() == [1.0] * 24


def test_a_rise_is_placed_and_sized_with_limits_adjusted_towards_one():
    days = np.full(STEPS, 250.0)
    cells = Cells(days[None, :], CALENDAR.starts, np.array([0]), np.array([48]), np.ones(1))
    steady_rate = np.tile([1, 2, 1, 2], MONTHS)
    risen = np.where(np.arange(STEPS) >= 64, 3 * steady_rate, steady_rate)
    found = change(cells, 0, risen, STEPS - 1)
    assert found.start == 16
    assert found.earliest <= 16 <= found.latest
    assert found.lower < found.ratio < 3 < found.upper
    calm = change(cells, 0, steady_rate, STEPS - 1)
    assert calm.lower < 1 < calm.upper
    wider = change(replace(cells, dispersion=np.array([4.0])), 0, risen, STEPS - 1)
    assert wider.upper - wider.lower > found.upper - found.lower


def test_families_that_differ_are_seen_and_alike_ones_are_not():
    alike = followed(*programme(6, families=200), 2, CALENDAR)
    apart = followed(*programme(6, families=200, spread=4.0), 2, CALENDAR)
    assert alike.spread == 0
    assert alike.cells.dispersion.tolist() == [1, 1, 1]
    assert 1.5 < apart.spread < 8
    assert apart.cells.dispersion[0] > 1.5


@pytest.mark.parametrize("leading", [(), (3,)])
def test_evidence_beyond_all_measure_stays_a_number(leading):
    cells = Cells(np.full((1, 24), 1e6), np.arange(24), np.array([0]), np.array([12]), np.ones(1))
    events = np.broadcast_to(np.repeat([1_000, 9_000], 12), (*leading, 1, 24))
    found = log_statistic(cells, events)
    assert np.isfinite(found[..., -1]).all()
    assert (found[..., -1] > 70).all()
