"""The order within a band: which one is in use, by what file, and what a reader is told of it."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from analysis.decisions import call_list
from analysis.decisions.backtest import BY_BENEFIT, orders_of
from analysis.decisions.history import morning_of
from analysis.decisions.mornings import with_families
from analysis.decisions.order import expectation, in_order, model_on, order_words
from analysis.decisions.order_file import Fits, OrderError, add_fit, fits_of, read_fits, text_of
from analysis.decisions.replayed import Replayed
from analysis.policy import load_policy, shipped_policy
from analysis.snapshot import Snapshot, end_of_day
from analysis.tables.backtest import LATER_EVENTS
from analysis.timeline import build
from tests.fitted import model
from tests.written import written

POLICY = shipped_policy()
DAY = date(2031, 3, 20)
EDITION = POLICY.on(DAY)
# F1 is 5 days overdue, F2 one day, F3 two; F4 has a red flag; F5 is called and waits.
LINES = """
line_id | child_id | family_id | site  | home_from  | dressing_on
L1      | C1       | F1        | north | 2031-03-01 | 2031-03-08
L2      | C2       | F2        | north | 2031-03-02 | 2031-03-12
L3      | C3       | F3        | south | 2031-03-05 | 2031-03-11
L4      | C4       | F4        | south | 2031-03-05 | 2031-03-19
L5      | C5       | F5        | south | 2031-03-05 | 2031-03-10
"""
LOG = """
line_id | done_at    | kind       | findings
L1      | 2031-03-19 | skin_check | none
L2      | 2031-03-19 | skin_check | none
L3      | 2031-03-19 | skin_check | none
L4      | 2031-03-19 | skin_check | fever
L5      | 2031-03-19 | skin_check | none
"""
CALLS = """
family_id | called_by | outcome | called_on  | called_at        | recheck_on
F5        | N1        | reached | 2031-03-19 | 2031-03-19T10:00 | 2031-03-22
"""


def snapshot(fits=None, records=None, known_at=None):
    records = records or written(lines=LINES, home_log=LOG, calls=CALLS)
    known_at = known_at or end_of_day(DAY, POLICY)
    return Snapshot(DAY, known_at, POLICY, records, pd.DataFrame(), fits)


def order_of(found):
    return list(found.calls.families["family_id"])


def test_within_a_band_the_highest_expected_share_comes_first_and_bands_stay():
    by_rules, by_benefit = snapshot(), snapshot(Fits("order.toml", (model(),)))
    assert order_of(by_rules) == ["F4", "F1", "F3", "F2", "F5"]
    assert order_of(by_benefit) == ["F4", "F2", "F3", "F1", "F5"]
    told = by_benefit.calls.families
    assert list(told["rank"].fillna(0)) == [1, 2, 3, 4, 0]
    bands = [f.calls.families.set_index("family_id")["band"] for f in (by_rules, by_benefit)]
    pd.testing.assert_series_equal(*(b.sort_index() for b in bands))
    assert list(told["expected_share"].isna()) == [False, False, False, False, True]


def test_families_alike_stand_by_the_rules():
    alike = Fits("order.toml", (model("gauze"),))
    assert order_of(snapshot(alike)) == order_of(snapshot())


def test_the_reason_tells_the_expected_share_in_words_but_not_beside_a_red_flag():
    families = snapshot(Fits("order.toml", (model(),))).calls.families.set_index("family_id")
    # F2: 1 / (1 + exp(0.5 + 3 x (log 2 - 0.1))) = 0.0928; F1, 5 days: 0.004
    assert families.loc["F2", "expected_share"] == pytest.approx(0.0928, abs=5e-5)
    assert families.loc["F2", "sentence"].endswith(
        " On about 9 in 100 mornings like this, harm followed within 7 days."
    )
    assert "fewer than 1 in 100 mornings like this" in families.loc["F1", "sentence"]
    assert "mornings like this" not in families.loc["F4", "sentence"]
    assert list(expectation(families.loc[["F4", "F5"]])) == [None, None]


def test_the_list_and_the_backtest_put_families_in_the_same_order():
    records = written(lines=LINES, home_log=LOG, calls=CALLS)
    timeline = build(records, POLICY, DAY)
    rules = call_list(timeline, records, POLICY)
    mornings = with_families(timeline, records, rules)
    replayed = Replayed.of(mornings, LATER_EVENTS.empty())
    for feature in ("log_days_overdue", "log_days_at_home", "gauze"):
        fit = model(feature)
        score = orders_of(replayed, fit.share(replayed.mornings))[BY_BENEFIT]
        listed = replayed.mornings["rank"].notna().to_numpy()
        families = replayed.mornings["family_id"].to_numpy()[listed]
        told = in_order(rules, timeline, records, fit, "").families
        assert list(families[np.argsort(-score[listed])]) == list(told["family_id"][:4])


def test_traits_of_people_change_neither_order_nor_share():
    fits = Fits("order.toml", (model("log_days_at_home"),))
    plain = written(lines=LINES, home_log=LOG, calls=CALLS)
    count = len(plain.lines)
    other = plain.lines.assign(
        site=["east"] * count,
        nurse=[f"N{n}" for n in range(count)],
        language=[f"language {n}" for n in range(count)],
        contact=[f"street {n}" for n in range(count)],
        born=pd.to_datetime([f"20{n + 12}-01-01" for n in range(count)]),
    )
    types = plain.lines.dtypes
    told = [
        snapshot(fits, records).calls.families[["family_id", "rank", "expected_share"]]
        for records in (plain, replace(plain, lines=other.astype(types)))
    ]
    pd.testing.assert_frame_equal(*told)


def test_a_fit_is_in_use_from_its_day_on_and_not_before():
    early, late = model(), model("gauze", fitted_on=date(2031, 3, 18))
    fits = Fits("order.toml", (early, late))
    days = [date(2031, 2, 28), date(2031, 3, 1), date(2031, 3, 17), date(2031, 3, 18)]
    used = [model_on(fits, EDITION, d, date(2031, 4, 1)) for d in days]
    assert used == [None, early, early, late]
    # A list that may know less also knows of fewer fits.
    assert model_on(fits, EDITION, DAY, date(2031, 3, 10)) is early
    assert order_of(snapshot(fits, known_at=morning_of(date(2031, 2, 1), POLICY))) == order_of(
        snapshot()
    )


def test_readers_are_told_which_order_is_in_use_and_why():
    fits = Fits("order.toml", (model(),))

    def words(fits, day=DAY, edition=EDITION):
        return order_words(fits, edition, day, day)

    assert words(None).endswith("No fitted order is in use.")
    assert words(fits).startswith("Sorted by expected benefit")
    assert "7,000 mornings of 120 families, 1 Sep 2030 to 22 Feb 2031" in words(fits)
    assert "first fitted order is from 1 Mar 2031" in words(fits, date(2031, 2, 1))
    newer = replace(EDITION, version="ours 2")
    assert "to policy edition shipped 1, but ours 2 is in force: fit it again" in words(
        fits, edition=newer
    )
    assert model_on(fits, newer, DAY, DAY) is None
    for day in (DAY, date(2031, 2, 1)):
        found = Snapshot(day, end_of_day(day, POLICY), POLICY, written(lines=LINES), None, fits)
        assert found.calls.order == words(fits, day)


def test_a_file_keeps_every_fit_to_the_last_bit(tmp_path):
    path = tmp_path / "order.toml"
    first, second = model(), model("gauze", 1 / 3, date(2031, 3, 9), policy='our "own"')
    add_fit(path, first)
    add_fit(path, second)
    for written_one, read in zip((first, second), read_fits(path).models, strict=True):
        for name, value in vars(written_one).items():
            assert np.array_equal(getattr(read, name), value), name
    assert "odds_ratio = 0.368" in path.read_text(encoding="utf-8")
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_takes_no_fit_that_is_not_newer(tmp_path):
    path = tmp_path / "order.toml"
    add_fit(path, model())
    for day in (date(2031, 3, 1), date(2031, 2, 1)):
        with pytest.raises(OrderError, match="already holds a fit of 2031-03-01"):
            add_fit(path, model(fitted_on=day))


GOOD = text_of(model())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "holds no .*fit"),
        ("no toml", "not valid TOML"),
        ("[[fit]]\npenalty = 4\n", "has no .*feature"),
        (GOOD.replace("feature.gauze", "feature.age"), "feature gauze: .* other features"),
        (GOOD + "[fit.feature.age]\ncentre = 0\n", "feature age: .* other features"),
        (GOOD.replace("families = 120", "families = -1"), "fit 1, families: -1"),
        (GOOD.replace("penalty = 4.0", "penalty = nan"), "fit 1, penalty: nan"),
        (GOOD.replace("fitted_on = 2031-03-01", 'fitted_on = "soon"'), "fitted_on: 'soon'"),
        (GOOD.replace("std_error = 0.2", "std_error = true", 1), "std_error: True"),
        (GOOD + GOOD, "in order of fitted_on"),
    ],
)
def test_a_file_that_is_no_fitted_order_gets_a_sentence(tmp_path, text, says):
    path = tmp_path / "order.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(OrderError, match=says):
        read_fits(path)


def test_the_policy_names_the_file_beside_it(tmp_path):
    ours = tmp_path / "ours.toml"
    ours.write_text('order_file = "order.toml"\n', encoding="utf-8")
    policy = load_policy(ours)
    with pytest.raises(OrderError, match="order.toml: the fitted order cannot be read"):
        fits_of(policy)
    add_fit(tmp_path / "order.toml", model())
    assert len(fits_of(policy).models) == 1
    assert fits_of(POLICY) is None
