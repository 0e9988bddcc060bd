"""Refreshers that do nothing show no effect, and those that halve what is missed are found.

The truth is known, since the programmes are made up; see `tests.refreshed`. A run over many more
programmes, with whatever the choice, is `tests/benchmarks/simulate_refreshers.py`.
"""

import numpy as np
import pytest

from analysis.decisions.refresher_effect import effect_of, trial_of
from analysis.decisions.refresher_trials import Moments, trial_effect
from tests.refreshed import CHOICES, programme

PROGRAMMES, FAMILIES = 12, 200


def effects(times, choice="bad", *, spells=False):
    random = np.random.default_rng([20310401, int(100 * times)])
    made = [
        programme(random, FAMILIES, times, spells=spells, choice=choice) for _ in range(PROGRAMMES)
    ]
    return [
        effect_of(e.occasions, e.refreshed_on, trial_of(e.control, e.refreshed_on)) for e in made
    ]


@pytest.fixture(scope="module")
def nothing():
    return effects(1.0)


@pytest.fixture(scope="module")
def halved():
    return effects(0.5)


def test_families_chosen_for_a_bad_spell_get_better_by_themselves(nothing):
    # Regression to the mean: their own before and after shows an effect that is not there.
    assert np.median([found.own_ratio for found in nothing]) < 0.75
    assert sum(found.own_upper < 1 for found in nothing) >= PROGRAMMES - 1


@pytest.mark.parametrize("spells", [False, True])
@pytest.mark.parametrize("choice", CHOICES)
def test_no_effect_is_claimed_of_refreshers_that_do_nothing_whoever_is_chosen(choice, spells):
    found = effects(1.0, choice, spells=spells)
    claimed = [f.adjusted_upper < 1 or f.adjusted_lower > 1 for f in found]
    # At 5 % each, more than two of twelve come up in 2 of 100 such tests.
    assert sum(claimed) <= 2


def test_the_adjusted_ratio_of_refreshers_that_do_nothing_is_one(nothing):
    assert np.median([found.adjusted_ratio for found in nothing]) == pytest.approx(1, abs=0.1)


def test_the_adjusted_ratio_finds_refreshers_that_halve_what_is_missed(halved):
    # Families compared are retrained later too, which understates the effect.
    assert 0.5 < np.median([found.adjusted_ratio for found in halved]) < 0.75
    assert sum(found.adjusted_upper < 1 for found in halved) >= PROGRAMMES - 2


def test_five_families_whose_records_explain_everything_give_no_effect():
    one = np.ones(5, dtype=np.int64)
    moments = Moments(
        family=np.arange(5),
        sent=np.array([True, False, True, False, True]),
        seen_earlier=np.array([9, 8, 8, 9, 8]),
        missed_earlier=np.array([2, 2, 2, 3, 1]),
        seen_quarter=np.array([9, 8, 6, 7, 9]),
        missed_quarter=one,
        missed_recent=one,
        missed_last=one.astype(bool),
        seen_after=np.array([6, 6, 6, 6, 8]),
        missed_after=np.array([2, 2, 1, 2, 3]),
    )
    assert trial_effect(moments, 5) is None
