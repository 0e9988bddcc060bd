"""Log-rank and Cox against a reading of the textbook line by line, and what must hold."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import chi2

from analysis.stats.cox import NoEstimateError, cox, split_at_periods
from analysis.stats.day_table import DayTable, day_tables
from analysis.stats.logrank import logrank
from tests.cases import cases
from tests.oracles import survival as oracle

LINE = st.builds(
    lambda entry, stay, cause: (entry, entry + stay, cause),
    st.integers(0, 9),
    st.integers(1, 15),
    st.integers(0, 3),
)
GROUPED = st.lists(st.tuples(LINE, st.integers(0, 2)), min_size=2, max_size=30)
CASES = cases(100)


def tables_of(grouped: list[tuple[oracle.Line, int]], n_groups: int = 3) -> tuple[DayTable, ...]:
    entry, leave, cause = zip(*[line for line, _ in grouped], strict=True)
    groups = [group for _, group in grouped]
    return day_tables(entry, leave, cause, groups, n_causes=3, n_groups=n_groups)


@CASES
@given(GROUPED, st.sampled_from([None, 1, 2, 3]))
def test_the_log_rank_test_is_that_of_the_textbook(grouped, cause) -> None:
    found = logrank(tables_of(grouped), cause=cause)
    groups = [[line for line, g in grouped if g == group] for group in range(3)]
    excess, cov = oracle.logrank_parts(groups, cause)
    np.testing.assert_allclose(
        found.observed - found.expected, np.array(excess, dtype=float), atol=1e-12
    )
    spread = np.array(cov, dtype=float)
    df = np.linalg.matrix_rank(spread, tol=1e-9)
    assert found.df == df
    if df == 0:
        assert np.isnan(found.statistic)
        assert np.isnan(found.p)
        return
    difference = np.array(excess, dtype=float)
    slow = difference @ np.linalg.pinv(spread, rcond=1e-9) @ difference
    assert found.statistic == pytest.approx(slow, rel=1e-6, abs=1e-9)
    assert found.p == pytest.approx(chi2.sf(slow, df), rel=1e-6, abs=1e-9)


@CASES
@given(GROUPED)
def test_the_order_of_groups_does_not_matter(grouped) -> None:
    tables = tables_of(grouped)
    one, other = logrank(tables), logrank(tables[::-1])
    assert one.df == other.df
    if one.df:
        assert one.statistic == pytest.approx(other.statistic, rel=1e-8, abs=1e-9)


@CASES
@given(st.lists(LINE, min_size=1, max_size=20))
def test_groups_of_the_same_lines_do_not_differ(lines: list[oracle.Line]) -> None:
    found = logrank(tables_of([(line, group) for line in lines for group in (0, 1)], 2))
    # Without a removal there is nothing to compare.
    assert np.isnan(found.p) == (found.df == 0)
    if found.df:
        assert found.statistic == pytest.approx(0, abs=1e-12)
        assert found.p == pytest.approx(1)


COX_ROWS = st.lists(
    st.builds(
        lambda start, stay, ended, x, cluster: (start, start + stay, ended, x, cluster),
        st.integers(0, 6),
        st.integers(1, 10),
        st.booleans(),
        st.sampled_from([0.0, 0.0, 1.0, 1.0, 2.5]),
        st.integers(0, 4),
    ),
    min_size=4,
    max_size=25,
)


def fit_of(rows: list[oracle.CoxRow]):
    start, stop, ended, x, cluster = zip(*rows, strict=True)
    return cox(start, stop, ended, np.array(x)[:, None], cluster, names=["x"])


@CASES
@given(COX_ROWS)
def test_cox_is_that_of_the_textbook(rows: list[oracle.CoxRow]) -> None:
    if not any(row[2] for row in rows):
        with pytest.raises(NoEstimateError, match="No line ended"):
            fit_of(rows)
        return
    b, naive, clustered = oracle.cox_one(rows)
    if abs(b) > 8 or not 0 < naive < 1e3:
        with pytest.raises(NoEstimateError):
            fit_of(rows)
        return
    fit = fit_of(rows)
    assert fit.coefficients[0] == pytest.approx(b, abs=1e-6)
    assert fit.naive_errors[0] == pytest.approx(naive**0.5, rel=1e-5)
    if clustered > 1e-9 * naive:
        assert fit.std_errors[0] == pytest.approx(clustered**0.5, rel=1e-5, abs=1e-8)
    else:
        assert np.isnan(fit.std_errors[0])


@CASES
@given(COX_ROWS, st.integers(1, 4))
def test_cutting_rows_in_pieces_changes_no_estimate(rows: list[oracle.CoxRow], piece) -> None:
    """Pieces that cover no event must not spoil the clustered errors."""
    pieces: list[oracle.CoxRow] = []
    for start, stop, ended, x, cluster in rows:
        for since in range(int(start), int(stop), piece):
            until = min(since + piece, int(stop))
            pieces.append((since, until, ended and until == stop, x, cluster))
    try:
        whole = fit_of(rows)
    except NoEstimateError:
        with pytest.raises(NoEstimateError):
            fit_of(pieces)
        return
    cut = fit_of(pieces)
    np.testing.assert_allclose(cut.coefficients, whole.coefficients, rtol=0, atol=1e-6)
    np.testing.assert_allclose(cut.naive_errors, whole.naive_errors, rtol=1e-5)
    np.testing.assert_allclose(cut.std_errors, whole.std_errors, rtol=1e-4, atol=1e-4)


@CASES
@given(COX_ROWS, st.floats(-5, 5), st.sampled_from([0.1, 3.0, 100.0]))
def test_another_unit_of_the_covariate_rescales_its_coefficient(rows, shift, unit) -> None:
    try:
        plain = fit_of(rows)
    except NoEstimateError:
        assume(False)
    moved = fit_of([(a, b, e, shift + unit * x, c) for a, b, e, x, c in rows])
    assert moved.coefficients[0] * unit == pytest.approx(plain.coefficients[0], abs=1e-5)
    assert moved.naive_errors[0] * unit == pytest.approx(plain.naive_errors[0], rel=1e-4)


@st.composite
def lines_with_spells(draw):
    lines = draw(
        st.lists(
            st.tuples(st.integers(0, 6), st.integers(1, 20), st.booleans()), min_size=1, max_size=6
        )
    )
    spells = []
    for line in range(len(lines)):
        day = draw(st.integers(0, 8))
        for _ in range(draw(st.integers(0, 3))):
            length = draw(st.integers(1, 6))
            spells.append((line, day, day + length))
            day += length + draw(st.integers(0, 4))
    return lines, draw(st.permutations(spells))


@CASES
@given(lines_with_spells())
def test_follow_up_is_split_as_the_days_say(case) -> None:
    lines, spells = case
    start = [entry for entry, _, _ in lines]
    stop = [entry + stay for entry, stay, _ in lines]
    ended = [event for _, _, event in lines]
    line, since, until = zip(*spells, strict=True) if spells else ((), (), ())
    rows = split_at_periods(start, stop, ended, line, since, until)

    exposed = {}
    last = {}
    for n, a, b, event, inside in zip(
        rows.line, rows.start, rows.stop, rows.event, rows.exposed, strict=True
    ):
        for day in range(a + 1, b + 1):
            assert (n, day) not in exposed
            exposed[n, day] = inside
        if event:
            last[n] = b
    for n in range(len(lines)):
        for day in range(start[n] + 1, stop[n] + 1):
            inside = any(w == n and a <= day - 1 < b for w, a, b in spells)
            assert exposed.pop((n, day)) == inside
        assert last.get(n) == (stop[n] if ended[n] else None)
    assert not exposed


def test_a_removal_on_the_day_a_line_falls_due_is_not_an_overdue_one() -> None:
    rows = split_at_periods([0, 0], [5, 6], [True, True], [0, 1], [5, 5], [6, 6])
    assert rows.line[rows.event].tolist() == [0, 1]
    assert rows.exposed[rows.event].tolist() == [False, True]


@pytest.mark.parametrize(
    ("spells", "sentence"),
    [
        (([0, 0], [2, 3], [4, 6]), "overlaps another of its line; position 1"),
        (([1], [2], [4]), "belongs to no line; position 0"),
        (([0], [4], [4]), "begin before it ends; position 0"),
    ],
)
def test_spells_that_cannot_be_are_refused(spells, sentence) -> None:
    with pytest.raises(ValueError, match=sentence):
        split_at_periods([0], [9], [True], *spells)


def test_a_hazard_ratio_worked_by_hand() -> None:
    """Ends in the order x = 1, 0, 1, 0: the likelihood r/(2r+2) . 1/(r+2) . r/(r+1) is highest
    where r.r - r - 4 = 0, r = (1 + sqrt 17) / 2."""
    fit = cox([0] * 4, [1, 2, 3, 4], [1] * 4, [[1], [0], [1], [0]], [0, 1, 2, 3])
    assert fit.hazard_ratios[0] == pytest.approx((1 + 17**0.5) / 2, abs=1e-7)


@pytest.mark.parametrize(
    ("start", "stop", "sentence"),
    [([0, 3], [5, 3], "position 1"), ([4, 0], [2, 9], "position 0")],
)
def test_a_row_that_does_not_start_before_it_stops_is_refused(start, stop, sentence) -> None:
    with pytest.raises(ValueError, match=sentence):
        cox(start, stop, [1, 1], [[0], [1]], [0, 1])


def test_without_a_finite_hazard_ratio_the_reason_is_told() -> None:
    family = range(6)
    stop = [1, 2, 3, 4, 5, 6]
    with pytest.raises(NoEstimateError, match="No line ended"):
        cox([0] * 6, stop, [0] * 6, [[0], [1]] * 3, family)
    with pytest.raises(NoEstimateError, match="overdue is the same for all lines"):
        cox([0] * 6, stop, [1] * 6, [[1]] * 6, family, names=["overdue"])
    with pytest.raises(NoEstimateError, match="overdue, late cannot be separated"):
        cox([0] * 6, stop, [1] * 6, [[0, 1], [1, 0]] * 3, family, names=["overdue", "late"])
    with pytest.raises(NoEstimateError, match="are on one side"):
        cox([0] * 6, [6] * 6, [1, 1, 0, 0, 0, 0], [[1], [1], [0], [0], [0], [1]], family)
    # Whoever ends has the highest sum of the two.
    pairs = [[3, 2], [1, 3], [2, 1], [1, 1], [0, 1], [0.5, 0]]
    with pytest.raises(NoEstimateError, match="one side of overdue, age"):
        cox([0] * 6, stop, [1] * 6, pairs, family, names=["overdue", "age"])


def test_one_family_has_an_estimate_and_no_error() -> None:
    fit = cox([0] * 4, [1, 2, 3, 4], [1] * 4, [[1], [0], [1], [0]], ["F1"] * 4)
    assert np.isfinite(fit.coefficients).all()
    assert np.isnan(fit.std_errors).all()
    assert np.isnan(fit.upper).all()
    assert fit.clusters == 1
