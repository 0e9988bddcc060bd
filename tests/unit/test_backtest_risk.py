"""Expected shares: fitted as elsewhere, blind to traits of people, absent when data are thin."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from analysis.decisions.backtest import BY_BENEFIT, backtest
from analysis.decisions.expected_benefit import fit_model, ridge_logistic
from analysis.decisions.fitted_model import FEATURES, features
from analysis.decisions.replayed import Replayed
from analysis.tables.backtest import LATER_EVENTS, MORNINGS


def programme(families=200, days=20, seed=1):
    """Families overdue by their own number of days, with events the likelier the more."""
    random = np.random.default_rng(seed)
    overdue = random.integers(0, 6, families)
    on = np.datetime64("2031-03-01") + np.arange(days)
    count = families * days
    codes = [f"F{f:03d}" for f in range(families)]
    rank = np.tile(np.where(overdue > 0, random.permutation(families) + 1, 0), days)
    mornings = MORNINGS.build(
        {
            "morning": np.repeat(on, families),
            "family_id": codes * days,
            "site": ["north"] * count,
            "band": np.where(rank > 0, "call_today", "no_call"),
            "rank": [int(r) if r else None for r in rank],
            "reasons": ["overdue" if r else None for r in rank],
            "silent": [False] * count,
            "days_overdue": np.tile(overdue, days),
            "days_since_change": random.integers(0, 9, count),
            "lines": [1] * count,
            **{
                n: [0] * count
                for n in ("silent_days", "scored", "late", "skin_events", "days_at_home", "stays")
            },
            **{n: [0] * count for n in ("spoiled_recently", "spoiled_often")},
        }
    )
    day, family = np.nonzero(random.random((days, families)) < 0.004 * overdue**2)
    events = LATER_EVENTS.build(
        {
            "family_id": [codes[f] for f in family],
            "line_id": ["L"] * len(day),
            "event": ["skin_event"] * len(day),
            "on": on[day],
            "last_morning": on[day],
        }
    )
    return Replayed.of(mornings, events)


# scikit-learn, as installed for the tests: its C is one over the penalty.
@pytest.mark.parametrize("penalty", [0.5, 4.0, 50.0])
def test_the_fit_is_that_of_scikit_learn(penalty):
    random = np.random.default_rng(5)
    values = random.normal(size=(400, 3))
    event = random.random(400) < 1 / (1 + np.exp(1 - values @ [1.0, -0.5, 0.0]))
    own = ridge_logistic(np.column_stack([np.ones(400), values]), event.astype(float), penalty)
    theirs = LogisticRegression(C=1 / penalty, tol=1e-10, max_iter=1000).fit(values, event)
    assert own[0] == pytest.approx(theirs.intercept_[0], abs=1e-6)
    assert own[1:] == pytest.approx(theirs.coef_[0], abs=1e-6)


def test_the_fit_holds_where_features_are_rare_and_skewed():
    random = np.random.default_rng(9)
    values = np.column_stack([random.random(3000) < 0.002, random.random(3000) ** 20])
    values = (values - values.mean(axis=0)) / values.std(axis=0)
    event = random.random(3000) < 1 / (1 + np.exp(4 - values @ [0.8, 2.0]))
    own = ridge_logistic(np.column_stack([np.ones(3000), values]), event.astype(float), 4.0)
    theirs = LogisticRegression(C=0.25, tol=1e-10, max_iter=5000).fit(values, event)
    assert own == pytest.approx([theirs.intercept_[0], *theirs.coef_[0]], abs=1e-5)


def fitted(replayed):
    return fit_model(replayed, date(2031, 3, 28), "ours", "shipped 1")


def test_expected_shares_put_families_with_more_events_first_on_other_mornings():
    model = fitted(programme(seed=1))
    later = programme(seed=2)
    expected = model.share(later.mornings)
    table = backtest(later, capacity=15, expected=expected).set_index("order")
    assert table.loc[BY_BENEFIT, "precision"] > table.loc["rule order", "precision"]
    assert model.coefficient[list(FEATURES).index("log_days_overdue")] > 0
    assert (model.std_error >= 0).all()


def test_shuffled_outcomes_leave_the_expected_benefit_a_lift_of_one():
    replayed = programme(seed=1)
    later = programme(seed=2)
    random = np.random.default_rng(3)
    lifts, held = [], 0
    expected = fitted(replayed).share(later.mornings)
    for _ in range(25):
        dealt = random.permuted(later.event.reshape(-1, 200), axis=1).ravel()
        rows = backtest(replace(later, event=dealt), 15, expected=expected).set_index("order")
        told = rows.loc[BY_BENEFIT]
        lifts.append(told["lift"])
        held += told["lift_lower"] <= 1 <= told["lift_upper"]
    assert 0.9 < np.mean(lifts) < 1.1
    assert held >= 18


def test_mornings_without_a_fitted_order_are_judged_by_the_rules():
    replayed = programme()
    none = np.full(len(replayed.mornings), np.nan)
    table = backtest(replayed, 15, expected=none).set_index("order")
    same = ["calls", "hits", "precision", "events_called", "net_benefit"]
    assert (table.loc[BY_BENEFIT, same] == table.loc["rule order", same]).all()


def test_the_mean_expected_share_is_the_share_with_an_event():
    replayed = programme()
    model = fitted(replayed)
    assert model.share(replayed.mornings).mean() == pytest.approx(replayed.event.mean(), abs=1e-4)


def test_the_expected_share_of_a_family_does_not_depend_on_the_others():
    replayed = programme()
    model, mornings = fitted(replayed), replayed.mornings
    assert (model.share(mornings)[7:9] == model.share(mornings[7:9])).all()


def test_few_families_with_events_give_no_model():
    assert fitted(programme(families=40)) is None


def test_no_trait_of_a_person_is_looked_at():
    replayed = programme()
    other = replayed.mornings.assign(site="elsewhere", family_id="another")
    assert (features(other) == features(replayed.mornings)).all()
    words = ("age", "born", "language", "site", "therapy", "relation", "family", "nurse", "type")
    assert not [f for f in FEATURES for part in f.split("_") if part in words]
