"""Scores of an order or a predicted risk against values from outside."""

import csv
from pathlib import Path

import numpy as np
import pytest
from sklearn import metrics

from analysis.decisions.scores import auc_within, net_benefit

DATA = Path(__file__).parent / "data"
# Worked by hand: ten families by falling score, four of them with an event.
EVENT = [1, 0, 1, 1, 0, 0, 0, 1, 0, 0]
SCORE = [0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05]


def auc(event, score):
    """All in one group."""
    return auc_within(event, score, np.zeros(len(event), dtype=np.int64))


def cancer():
    with (DATA / "dcurves_binary.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    happened = np.array([row["cancer"] == "True" for row in rows])
    return happened, np.array([float(row["cancerpredmarker"]) for row in rows])


# Decision curve of the example data of the package dcurves, model cancerpredmarker: net benefit by
# threshold. The values came with the data; they were not seen printed in a publication.
@pytest.mark.parametrize(
    ("threshold", "expected"),
    [(0.05, 0.105544), (0.1, 0.087407), (0.15, 0.079216), (0.2, 0.067333), (0.3, 0.054667)],
)
def test_net_benefit_is_that_of_the_decision_curve_package(threshold, expected):
    happened, risk = cancer()
    assert net_benefit(happened, risk >= threshold, threshold) == pytest.approx(expected, abs=5e-7)


def test_the_score_of_ten_families_is_that_calculated_by_hand():
    assert auc(EVENT, SCORE) == pytest.approx(0.75)


# scikit-learn, as installed for the tests.
@pytest.mark.parametrize("digits", [1, 7], ids=["many ties", "few ties"])
@pytest.mark.parametrize("seed", range(5))
def test_scores_equal_those_of_scikit_learn(seed, digits):
    random = np.random.default_rng(seed)
    risk = np.round(random.random(200), digits)
    happened = random.random(200) < risk**2
    assert auc(happened, risk) == pytest.approx(metrics.roc_auc_score(happened, risk))


def test_scores_of_the_cancer_data_equal_those_of_scikit_learn():
    happened, risk = cancer()
    assert auc(happened, risk) == pytest.approx(metrics.roc_auc_score(happened, risk))


def test_comparing_within_groups_joins_the_pairs_of_each_group():
    random = np.random.default_rng(3)
    group = random.integers(0, 4, 300)
    risk, happened = np.round(random.random(300), 1), random.random(300) < 0.3
    won = pairs = 0.0
    for one in range(4):
        at = group == one
        n = happened[at].sum() * (~happened[at]).sum()
        won, pairs = won + n * metrics.roc_auc_score(happened[at], risk[at]), pairs + n
    assert auc_within(happened, risk, group) == pytest.approx(won / pairs)


@pytest.mark.parametrize("event", [[], [0, 0], [1, 1]])
def test_nothing_to_compare_gives_no_number(event):
    assert np.isnan(auc(event, [0.5] * len(event)))


def test_nobody_gives_no_number_and_a_threshold_of_none_is_refused():
    assert np.isnan(net_benefit([], [], 0.1))
    with pytest.raises(ValueError, match="not between 0 and 1"):
        net_benefit([1], [1], 1.0)
    with pytest.raises(ValueError, match="scores"):
        auc([1, 0], [0.5])
