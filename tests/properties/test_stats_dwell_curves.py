"""Curves from day tables against a reading of the textbook line by line, and what must hold."""

import warnings

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from analysis.stats.competing import aalen_johansen
from analysis.stats.curve_limits import normal_quantile
from analysis.stats.day_table import DayTable, day_table, day_tables
from analysis.stats.survival import kaplan_meier, median_days, restricted_mean, start_when
from tests.cases import cases
from tests.oracles import survival as oracle

LINE = st.builds(
    lambda entry, stay, cause: (entry, entry + stay, cause),
    st.integers(0, 9),
    st.integers(1, 15),
    st.integers(0, 3),
)
LINES = st.lists(LINE, min_size=1, max_size=25)
FROM_PLACEMENT = st.lists(LINE.map(lambda line: (0, line[1], line[2])), min_size=1, max_size=25)
Z = normal_quantile(0.95)
CASES = cases(100)


def table_of(lines: list[oracle.Line]) -> DayTable:
    entry, leave, cause = zip(*lines, strict=True) if lines else ((), (), ())
    return day_table(entry, leave, cause, n_causes=3)


@CASES
@given(LINES)
def test_numbers_at_risk_are_those_counted_line_by_line(lines: list[oracle.Line]) -> None:
    table = table_of(lines)
    assert table.at_risk.tolist() == [oracle.at_risk(lines, d) for d in range(table.n_days)]
    assert table.removed.tolist() == [oracle.ended(lines, d) for d in range(table.n_days)]


@CASES
@given(LINES, st.integers(0, 6))
def test_kaplan_meier_is_that_of_the_textbook(lines: list[oracle.Line], start: int) -> None:
    assume(start < oracle.last_day(lines))
    found = kaplan_meier(table_of(lines), start=start)
    slow = oracle.kaplan_meier(lines, start)
    assert found.day.tolist() == [day for day, _, _ in slow]
    for at, (_, share, variance) in enumerate(slow):
        assert found.survival[at] == pytest.approx(float(share), abs=1e-12)
        if variance is None:
            assert np.isnan(found.std_error[at])
        else:
            assert found.std_error[at] == pytest.approx(float(variance) ** 0.5, abs=1e-12)
    # Limits of each day by itself, then joined so that none rises.
    limits = {
        at: oracle.log_log_limits(float(share), float(variance), Z)
        for at, (_, share, variance) in enumerate(slow)
        if variance and 0 < share < 1
    }
    for at in limits:
        assert found.lower[at] == pytest.approx(
            max(lower for later, (lower, _) in limits.items() if later >= at), abs=1e-10
        )
        assert found.upper[at] == pytest.approx(
            min(upper for earlier, (_, upper) in limits.items() if earlier <= at), abs=1e-10
        )


@CASES
@given(LINES, st.integers(0, 6))
def test_no_limit_moves_the_wrong_way(lines: list[oracle.Line], start: int) -> None:
    assume(start < oracle.last_day(lines))
    curve = kaplan_meier(table_of(lines), start=start)
    assert (np.diff(curve.lower) <= 1e-12).all()
    assert (np.diff(curve.upper) <= 1e-12).all()
    ended = aalen_johansen(table_of(lines), start=start)
    assert (np.diff(ended.lower, axis=0) >= -1e-12).all()
    assert (np.diff(ended.upper, axis=0) >= -1e-12).all()


@CASES
@given(LINES, st.integers(0, 6))
def test_aalen_johansen_is_that_of_the_textbook(lines: list[oracle.Line], start: int) -> None:
    assume(start < oracle.last_day(lines))
    found = aalen_johansen(table_of(lines), start=start)
    assert len(found.survival) == len(oracle.aalen_johansen(lines, 3, start))
    for at, (_, share, variance) in enumerate(oracle.aalen_johansen(lines, 3, start)):
        assert found.survival[at] == pytest.approx(float(share[0]), abs=1e-12)
        for cause in range(3):
            own, spread = float(share[cause + 1]), float(variance[cause + 1])
            assert found.share[at, cause] == pytest.approx(own, abs=1e-12)
            assert found.std_error[at, cause] ** 2 == pytest.approx(spread, abs=1e-12)
            if 1e-9 < own < 1 - 1e-9:
                limits = oracle.log_log_limits(1 - own, spread, Z)
                # Joined with those of other days they can only be narrower.
                assert 1 - found.upper[at, cause] >= limits[0] - 1e-6
                assert 1 - found.lower[at, cause] <= limits[1] + 1e-6


@CASES
@given(LINES, st.integers(1, 20))
def test_the_restricted_mean_is_that_of_the_textbook(
    lines: list[oracle.Line], horizon: int
) -> None:
    assume(horizon <= oracle.last_day(lines))
    found = restricted_mean(kaplan_meier(table_of(lines)), horizon)
    area, variance = oracle.restricted_mean(lines, horizon)
    assert found.days == pytest.approx(float(area), abs=1e-10)
    if variance == 0:
        assert np.isnan(found.std_error)
    else:
        assert found.std_error == pytest.approx(float(variance) ** 0.5, abs=1e-10)
    if variance or area == horizon:
        assert 0 <= found.lower <= found.days <= found.upper <= horizon
    else:
        assert np.isnan([found.lower, found.upper]).all()


@CASES
@given(LINES)
def test_shares_in_place_and_ended_add_up_to_one(lines: list[oracle.Line]) -> None:
    found = aalen_johansen(table_of(lines))
    whole = found.survival + found.share.sum(axis=1)
    np.testing.assert_allclose(whole, 1, rtol=0, atol=1e-12)
    in_place = kaplan_meier(table_of(lines)).survival
    np.testing.assert_array_equal(found.survival, in_place)


@CASES
@given(LINES)
def test_with_one_cause_the_share_ended_is_one_minus_kaplan_meier(
    lines: list[oracle.Line],
) -> None:
    one = [(entry, leave, min(cause, 1)) for entry, leave, cause in lines]
    curve, incidence = kaplan_meier(table_of(one)), aalen_johansen(table_of(one))
    np.testing.assert_allclose(incidence.share[:, 0], 1 - curve.survival, rtol=0, atol=1e-12)
    np.testing.assert_allclose(1 - incidence.upper[:, 0], curve.lower, rtol=0, atol=1e-7)
    np.testing.assert_allclose(1 - incidence.lower[:, 0], curve.upper, rtol=0, atol=1e-7)


@CASES
@given(LINES, st.integers(1, 4), st.randoms(use_true_random=False))
def test_parts_add_up_to_the_bits_of_the_whole(lines, n_parts, random) -> None:
    part_of = [random.randrange(n_parts) for _ in lines]
    parts = [
        table_of([line for line, at in zip(lines, part_of, strict=True) if at == part])
        for part in range(n_parts)
    ]
    random.shuffle(parts)
    summed, whole = sum(parts, DayTable.empty(3)), table_of(lines)
    for name in ("entered", "left", "events"):
        np.testing.assert_array_equal(getattr(summed, name), getattr(whole, name))
    for estimate in (kaplan_meier, aalen_johansen):
        one, other = estimate(summed), estimate(whole)
        for name in one.__dataclass_fields__:
            assert getattr(one, name).tobytes() == getattr(other, name).tobytes()


@CASES
@given(st.lists(st.tuples(LINE, st.integers(0, 3)), min_size=1, max_size=25))
def test_tables_by_group_are_the_tables_of_the_groups(grouped) -> None:
    lines = [line for line, _ in grouped]
    entry, leave, cause = zip(*lines, strict=True)
    tables = day_tables(entry, leave, cause, [g for _, g in grouped], n_causes=3, n_groups=4)
    assert len(tables) == 4
    for group, table in enumerate(tables):
        own = table_of([line for line, g in grouped if g == group])
        for name in ("entered", "left", "events"):
            longer = getattr(table, name)
            np.testing.assert_array_equal(longer[: own.n_days], getattr(own, name))
            assert not longer[own.n_days :].any()


@CASES
@given(LINES)
def test_limits_hold_the_share_and_more_confidence_is_wider(lines: list[oracle.Line]) -> None:
    for estimate, name in ((kaplan_meier, "survival"), (aalen_johansen, "share")):
        narrow, wide = (estimate(table_of(lines), confidence=c) for c in (0.8, 0.99))
        for found in (narrow, wide):
            share = getattr(found, name)
            assert (found.lower <= share + 1e-9).all()
            assert (share <= found.upper + 1e-9).all()
            assert (found.lower >= 0).all()
            assert (found.upper <= 1).all()
        assert (wide.lower <= narrow.lower + 1e-9).all()
        assert (wide.upper >= narrow.upper - 1e-9).all()


@CASES
@given(LINES)
def test_the_median_is_the_first_day_with_half_the_lines_gone(lines: list[oracle.Line]) -> None:
    found = median_days(kaplan_meier(table_of(lines)))
    slow = [day for day, share, _ in oracle.kaplan_meier(lines) if 2 * share <= 1]
    assert found.day == (slow[0] if slow else None)
    if found.day is not None:
        assert found.lower is not None
        assert found.lower <= found.day
    if found.upper is not None:
        assert found.day is not None
        assert found.upper >= found.day


@CASES
@given(LINES, st.integers(1, 8))
def test_a_curve_starts_the_day_before_enough_lines_are_at_risk(
    lines: list[oracle.Line], least: int
) -> None:
    start = start_when(table_of(lines), min_at_risk=least)
    days = range(1, oracle.last_day(lines) + 1)
    slow = [day - 1 for day in days if oracle.at_risk(lines, day) >= least]
    assert start == (slow[0] if slow else None)


@CASES
@given(LINES)
def test_a_later_start_conditions_on_being_in_place(lines: list[oracle.Line]) -> None:
    """Identity: S(t) = S(s) S(t | in place on s)."""
    whole = kaplan_meier(table_of(lines))
    start = len(whole.day) // 2
    assume(0 < start < whole.day[-1])
    later = kaplan_meier(table_of(lines), start=start)
    np.testing.assert_allclose(
        whole.survival[start:], whole.survival[start] * later.survival, rtol=0, atol=1e-12
    )


@cases(30)
@given(FROM_PLACEMENT)
def test_without_delayed_entry_the_curve_is_that_of_lifelines(lines: list[oracle.Line]) -> None:
    from lifelines import KaplanMeierFitter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own, about the log of a share of 0
        fitter = KaplanMeierFitter().fit(
            [leave for _, leave, _ in lines], [cause > 0 for _, _, cause in lines]
        )
        found = kaplan_meier(table_of(lines))
        theirs = fitter.survival_function_at_times(found.day).to_numpy()
        limits = fitter.confidence_interval_.reindex(found.day, method="ffill").to_numpy()
    np.testing.assert_allclose(found.survival, theirs, rtol=0, atol=1e-10)
    inside = (found.survival > 0) & (found.survival < 1)
    np.testing.assert_allclose(found.lower[inside], limits[inside, 0], rtol=0, atol=1e-8)
    np.testing.assert_allclose(found.upper[inside], limits[inside, 1], rtol=0, atol=1e-8)


@cases(30)
@given(LINES)
def test_with_delayed_entry_the_curve_is_that_of_lifelines(lines: list[oracle.Line]) -> None:
    from lifelines import KaplanMeierFitter

    found = kaplan_meier(table_of(lines))
    assume((found.at_risk[1:] > 0).all())
    assume((found.survival[:-1] > 0).all())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitter = KaplanMeierFitter().fit(
            [leave for _, leave, _ in lines],
            [cause > 0 for _, _, cause in lines],
            entry=[entry for entry, _, _ in lines],
        )
        theirs = fitter.survival_function_at_times(found.day).to_numpy()
    np.testing.assert_allclose(found.survival, theirs, rtol=0, atol=1e-10)
