"""Do the figures of rates and dwell time draw what the tables say, and mark what is unsure?"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from dashboard.figures import (
    control_chart,
    ended_unplanned,
    rate_intervals,
    share_in_place,
    site_funnel,
)
from dashboard.figures.control import _ticks
from dashboard.figures.gaps import gap_figure
from dashboard.figures.scale import spread, top_of_axis
from dashboard.figures.small_multiples import small_multiples

CHART = """
label     events judged_days judged_rate_per_1000 centre lower_limit upper_limit signal_words provisional expected_rate_per_1000
Jan_2031  1      1000      1.0           2.0    0.0         6.0         -          no          1.0
Feb_2031  8      1000      8.0           2.0    0.0         6.0         above      no          8.0
Mar_2031  2      1000      2.0           2.0    0.0         6.0         -          yes         3.0
"""
GROUPS = """
name   events line_days rate_per_1000 lower upper clustered_lower clustered_upper
North  4      2000      2.0           0.5   5.1   0.4             5.4
South  0      1000      0.0           0.0   3.7   nan             nan
East   0      0         nan           nan   nan   nan             nan
West   0      40        0.0           0.0   92.2  nan             nan
"""
FUNNEL = """
name   events judged_days judged_rate_per_1000 centre lower_95 upper_95 lower_998 upper_998
North  20     2000      10.0          6.0    3.0      9.0      1.5       11.5
South  10     3000      3.3           6.0    3.7      8.7      2.3       10.3
"""
CURVES = """
name  day at_risk removed unplanned planned in_place in_place_lower in_place_upper unplanned_share unplanned_lower unplanned_upper
PICC  10  12      6       6         0       0.5      0.21           0.74           0.5             0.27            0.78
port  30  12      2       0         2       0.83     0.48           0.96           0.0             0.0             0.23
"""
SUMMARY = """
name  start_day horizon given
PICC  0         62      all_lines
port  2         62      given_in_place_on_day_2
"""
AT_RISK = """
name day at_risk
PICC 1   12
PICC 30  6
port 1   9
port 30  12
"""


def table(text: str) -> pd.DataFrame:
    """A frame from a table written as text: ``-`` is an empty word, ``_`` a space."""
    head, *lines = (line.split() for line in text.strip().splitlines())
    words = {"-": "", "yes": True, "no": False}

    def value(cell: str) -> object:
        if cell in words:
            return words[cell]
        try:
            return int(cell) if cell.lstrip("-").isdigit() else float(cell)
        except ValueError:
            return cell.replace("_", " ")

    return pd.DataFrame([[value(cell) for cell in line] for line in lines], columns=head)


def figures():
    curves, summary, risk = table(CURVES), table(SUMMARY), table(AT_RISK)
    return {
        "control": control_chart(table(CHART)),
        "intervals": rate_intervals(table(GROUPS), 1.3),
        "funnel": site_funnel(table(FUNNEL)),
        "in_place": share_in_place(curves, summary, risk, 62),
        "unplanned": ended_unplanned(curves, summary, (1, 30, 60), 62),
    }


def trace(figure, name):
    (found,) = [t for t in figure.data if t.name == name]
    return found


def said(figure) -> str:
    return " ".join(a.text for a in figure.layout.annotations)


@pytest.mark.parametrize("name", list(figures()))
def test_no_figure_needs_a_graphics_card(name):
    # The page's own rule of what may run blocks those kinds of traces.
    kinds = {t.type for t in figures()[name].data}
    assert kinds <= {"scatter", "bar"}


@pytest.mark.parametrize("name", list(figures()))
def test_no_axis_is_left_to_guess_its_end_and_none_can_be_dragged(name):
    layout = figures()[name].layout
    for axis in (layout.xaxis, layout.yaxis):
        assert axis.range is not None
        assert axis.fixedrange is True


def test_limits_are_drawn_a_period_wide_each_and_named():
    figure = control_chart(table(CHART))
    upper = trace(figure, "upper limit")
    assert list(upper.x)[:2] == [-0.5, 0.5]
    assert [v for v in upper.y if v is not None] == [6.0] * 6
    assert {"upper 6.00", "centre 2.00", "lower 0"} <= {a.text for a in figure.layout.annotations}


def test_limits_are_lighter_than_the_rates_and_thinner():
    figure = control_chart(table(CHART))
    limit, points = trace(figure, "upper limit"), trace(figure, "settled")

    def lightness(colour: str) -> int:
        return sum(int(colour[at : at + 2], 16) for at in (1, 3, 5))

    assert lightness(limit.line.color) > lightness(points.marker.color)
    assert limit.line.width < points.marker.line.width


def test_a_provisional_month_is_open_and_named_and_shows_what_is_expected():
    figure = control_chart(table(CHART))
    settled, provisional = trace(figure, "settled"), trace(figure, "provisional")
    assert list(settled.x) == [0]
    assert list(provisional.x) == [2]
    assert provisional.marker.color != provisional.marker.line.color
    assert settled.marker.color == settled.marker.line.color
    assert "provisional" in said(figure)
    assert "provisional" in provisional.hovertext[0]
    assert [v for v in trace(figure, "expected").y if v is not None] == [2.0, 3.0]


def test_a_point_that_breaks_a_rule_has_another_shape_and_its_words():
    figure = control_chart(table(CHART))
    signal = trace(figure, "signal")
    assert list(signal.x) == [1]
    assert signal.marker.symbol == "diamond"
    assert "Feb 2031:<br>above" in said(figure)


def test_a_chart_without_limits_still_shows_its_rates():
    chart = table(CHART).assign(centre=0.0, lower_limit=np.nan, upper_limit=np.nan, signal_words="")
    figure = control_chart(chart)
    assert not [t for t in figure.data if t.name == "upper limit"]
    assert list(trace(figure, "settled").x) == [0, 1]


def test_one_month_with_few_line_days_does_not_squeeze_the_others_and_keeps_its_value():
    rows = [table(CHART)] * 4
    far = (
        table(CHART)
        .iloc[[0]]
        .assign(label="Nov 2030", judged_rate_per_1000=500.0, upper_limit=900.0)
    )
    figure = control_chart(pd.concat([far, *rows], ignore_index=True))
    assert figure.layout.yaxis.range[1] < 20
    assert "▲ 500.0" in list(trace(figure, "settled").text)


def test_a_group_without_events_has_an_open_dot_and_its_upper_limit():
    figure = rate_intervals(table(GROUPS), 1.3)
    none = trace(figure, "no event")
    assert list(none.x) == [0.0, 0.0]
    assert none.marker.color != none.marker.line.color
    ends = [v for v in trace(figure, "95 % limits").x if v is not None]
    assert 3.7 in ends


def test_a_group_without_line_days_says_that_it_has_no_rate():
    figure = rate_intervals(table(GROUPS), 1.3)
    dots = sum(len(t.x) for t in figure.data if t.mode == "markers")
    assert dots == 3
    assert "East</b>  <span" in said(figure)
    assert "no line-days: no rate" in said(figure)


def test_a_limit_beyond_the_axis_is_written_out():
    figure = rate_intervals(table(GROUPS), 1.3)
    assert figure.layout.xaxis.range[1] < 10
    assert "limit up to 92.2 ▸" in said(figure)


def test_limits_with_families_allowed_for_are_drawn_thinner():
    figure = rate_intervals(table(GROUPS), 1.3)
    wide = trace(figure, "95 % limits, adjusted for families")
    assert [v for v in wide.x if v is not None] == [0.4, 5.4]
    assert wide.line.width < trace(figure, "95 % limits").line.width


def test_a_site_outside_the_limits_is_a_diamond_with_its_name():
    figure = site_funnel(table(FUNNEL))
    # North: 10.0 is above 9.0; South: 3.3 is below 3.7.
    outside = trace(figure, "outside")
    assert [t.strip() for t in outside.text] == ["North", "South"]
    assert outside.marker.symbol == "diamond"
    assert [t.name for t in figure.data if "95" in t.name] == ["upper_95", "lower_95"]


def test_a_curve_starts_where_it_is_given_and_ends_where_lines_were_last_seen():
    figure = share_in_place(table(CURVES), table(SUMMARY), table(AT_RISK), 62)
    port = trace(figure, "port")
    assert list(port.x) == [2, 30, 62]
    assert list(port.y) == [1.0, 0.83, 0.83]
    assert "given in place on day 2" in said(figure)


def test_numbers_at_risk_stand_under_the_days_of_the_axis():
    figure = share_in_place(table(CURVES), table(SUMMARY), table(AT_RISK), 62)
    row = trace(figure, "at risk: port")
    assert list(row.x) == list(figure.layout.xaxis.tickvals) == [1, 30]
    assert list(row.text) == ["9", "12"]
    low, high = figure.layout.yaxis2.range
    assert all(low <= y <= high for y in row.y)


def test_the_share_ended_unplanned_starts_at_nought_and_has_its_own_limits():
    figure = ended_unplanned(table(CURVES), table(SUMMARY), (1, 30, 60), 62)
    assert list(trace(figure, "PICC").y) == [0.0, 0.5, 0.5]
    first, second = [t for t in figure.data if t.name == "95 % limits"][:2]
    assert (first.y[0], second.y[0]) == (0.27, 0.78)


def test_curves_are_told_apart_by_dash_and_by_name_and_not_by_colour_alone():
    figure = share_in_place(table(CURVES), table(SUMMARY), table(AT_RISK), 62)
    assert trace(figure, "PICC").line.dash != trace(figure, "port").line.dash
    assert {"PICC", "port"} <= {a.text for a in figure.layout.annotations}


def test_the_limits_of_many_groups_stand_at_the_days_of_the_axis_and_not_over_each_other():
    names = ["a", "b", "c", "d"]
    of = {n: table(CURVES).iloc[[0]].assign(name=n) for n in names}
    curves = pd.concat(of.values())
    summary = pd.concat([table(SUMMARY).iloc[[0]].assign(name=n) for n in names])
    figure = ended_unplanned(curves, summary, (1, 30, 60), 62)
    bars = [t for t in figure.data if t.name == "95 % limits"]
    assert all(t.fill is None for t in bars)
    places = [x for t in bars for x in t.x if x is not None]
    assert len(set(places)) == len(names) * 2  # two ticks after the first end


def test_labels_keep_apart_and_inside():
    moved = spread([0.1, 0.1, 0.1, 0.99], 0.2, 0.0, 1.0)
    assert moved == sorted(moved)
    assert all(b - a >= 0.2 - 1e-9 for a, b in pairwise(moved))
    assert max(moved) <= 1.0


def test_an_axis_without_anything_known_has_an_end():
    assert top_of_axis([float("nan")], [float("nan")]) == 1.0
    assert top_of_axis([0.0], []) == 1.0


def test_gaps_between_rare_events_show_limits_and_the_wait_so_far():
    gaps = pd.DataFrame(
        {
            "period": ["2031-01-04", "2031-03-09", "2031-03-10"],
            "label": ["Jan 2031", "Mar 2031", "Mar 2031"],
            "gap": [900, 2000, 1],
            "lower_limit": [2.0, 2.0, 2.0],
            "upper_limit": [9000.0, 9000.0, 9000.0],
            "signal": pd.Series([None, None, "too_short"], dtype="string"),
        }
    )
    traces = {trace.name: trace for trace in gap_figure(gaps, 350, "line-days").data}
    assert list(traces["gap"].y) == [900, 2000]
    assert (list(traces["signal"].x), list(traces["signal"].y)) == ([2], [1])
    assert (list(traces["since the last"].x), list(traces["since the last"].y)) == ([3], [350])
    assert traces["upper limit"].y[0] == 9000


def test_small_figures_share_one_scale_and_name_every_month():
    months = pd.DataFrame(
        {
            "label": ["Nov 2030", "Dec 2030", "Jan 2031", "Feb 2031"],
            "rate_per_1000": [1.0, float("nan"), 2.0, 4.0],
            "provisional": [False, False, False, True],
        }
    )
    low = months.assign(rate_per_1000=[1.0, 1.0, 1.0, 1.0])
    first, second = small_multiples([(months, 1.0, 2), (low, float("nan"), None)])
    assert first.scale == second.scale == ((86.0, "0"), (10.0, "4"))
    assert first.points[0].y == second.points[0].y == first.baseline_y
    assert [tick.letter for tick in first.ticks] == ["N", "D", "J", "F"]
    assert [tick.year for tick in first.ticks] == ["", "", "2031", ""]
    assert len(first.lines) == 2
    assert [point.provisional for point in first.points] == [False, False, True]
    assert second.baseline_y is None
    assert second.since_x is None


def test_a_chart_of_months_names_each_of_them():
    labels = [f"{d:%b %Y}" for d in pd.date_range("2030-11-01", periods=14, freq="MS")]
    shown, names, years = _ticks(labels)
    assert shown == list(range(14))
    assert "".join(names) == "NDJFMAMJJASOND"
    assert years == {2: "2031"}
    longer = [f"{d:%b %Y}" for d in pd.date_range("2026-01-01", periods=60, freq="MS")]
    assert len(_ticks(longer)[0]) <= 5
    assert _ticks(["Q1 2031", "Q2 2031"])[1] == ["Q1<br>2031", "Q2<br>2031"]
