"""Refreshers that do nothing show no effect, and those that halve what is missed are found.

The truth is known, since the programmes are made up; see `tests.refreshed`. A run over many more
programmes, with shares that come and go, is `tests/benchmarks/simulate_refreshers.py`.
"""

import numpy as np
import pytest

from analysis.decisions.refreshers import effect_of, spells_of
from tests.refreshed import programme

PROGRAMMES, FAMILIES = 12, 200


def effects(times):
    random = np.random.default_rng([20310401, int(100 * times)])
    return [
        effect_of(spells_of(*programme(random, FAMILIES, times, spells=False)))
        for _ in range(PROGRAMMES)
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


def test_the_adjusted_ratio_shows_no_effect_of_refreshers_that_do_nothing(nothing):
    assert np.median([found.adjusted_ratio for found in nothing]) == pytest.approx(1, abs=0.1)
    # Limits of 95 % leave out the truth in one of twenty; more than two of twelve come up in
    # 2 of 100 such tests.
    held = [found.adjusted_lower <= 1 <= found.adjusted_upper for found in nothing]
    assert sum(held) >= PROGRAMMES - 2


def test_the_adjusted_ratio_finds_refreshers_that_halve_what_is_missed(halved):
    assert np.median([found.adjusted_ratio for found in halved]) == pytest.approx(0.5, abs=0.1)
    assert sum(found.adjusted_upper < 1 for found in halved) >= PROGRAMMES - 1
