"""A predicted risk: fitted as elsewhere, written to be read, and absent when data are thin."""

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from analysis.decisions.backtest import BY_RISK, Replayed, backtest
from analysis.decisions.expected_benefit import (
    FEATURES,
    ModelError,
    features,
    fit_model,
    read_model,
    ridge_logistic,
)
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
            **{n: [0] * count for n in ("silent_days", "scored", "late", "skin_events")},
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


def test_a_risk_puts_families_with_more_events_first_on_other_mornings():
    model = fit_model(programme(seed=1))
    later = programme(seed=2)
    table = backtest(later, capacity=15, risk=model.risk(later.mornings)).set_index("order")
    assert table.loc[BY_RISK, "precision"] > table.loc["rule order", "precision"]
    assert model.coefficient[FEATURES.index("log_days_overdue")] > 0
    assert (model.std_error >= 0).all()


def test_mean_risk_is_the_share_with_an_event():
    replayed = programme()
    model = fit_model(replayed)
    assert model.risk(replayed.mornings).mean() == pytest.approx(replayed.event.mean())


def test_a_model_is_written_and_read_back_to_the_last_bit(tmp_path):
    replayed = programme()
    model = fit_model(replayed)
    path = tmp_path / "risk.toml"
    path.write_text(model.text(), encoding="utf-8")
    assert (read_model(path).risk(replayed.mornings) == model.risk(replayed.mornings)).all()


def test_few_families_with_events_give_no_model():
    assert fit_model(programme(families=40)) is None


@pytest.mark.parametrize("text", ["", "intercept = 1", "[feature.age]\ncentre = 1", "no toml"])
def test_another_file_is_no_model(tmp_path, text):
    path = tmp_path / "other.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ModelError, match="Fit it anew"):
        read_model(path)


def test_no_trait_of_a_person_is_looked_at():
    replayed = programme()
    other = replayed.mornings.assign(site="elsewhere")
    assert (features(other) == features(replayed.mornings)).all()
    words = ("age", "born", "language", "site", "therapy", "relation", "family", "nurse", "type")
    assert not [f for f in FEATURES for part in f.split("_") if part in words]
