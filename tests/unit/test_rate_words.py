"""Are rates, signals and comparisons said as they are, small numbers above all?"""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from dashboard.layout import group_words
from dashboard.rates import words as rate_words

MONTHS = ["Jan 2031", "Feb 2031", "Mar 2031", "Apr 2031", "May 2031"]


def chart(*said: str, provisional: int = 0, signal: str | None = None) -> pd.DataFrame:
    """Five months; the last `provisional` ones are so, the last may carry a signal."""
    n = len(MONTHS)
    words = [*said, *[""] * (n - len(said))]
    return pd.DataFrame(
        {
            "label": MONTHS,
            "said": words,
            "signal": [None] * (n - 1) + [signal],
            "provisional": [at >= n - provisional for at in range(n)],
            "upper_limit": [3.0] * n,
        }
    )


def test_a_chart_without_signals_is_not_drifting():
    assert rate_words.drift_words(chart(), "month") == (
        "Not drifting: none of 5 settled months breaks a rule of the chart."
    )


def test_an_old_signal_is_told_as_old():
    said = rate_words.drift_words(chart("above the upper limit"), "month")
    assert said.startswith("Not drifting now: none of the last 3 settled months")
    assert said.endswith("the newest Jan 2031, above the upper limit.")


def test_a_provisional_month_is_not_taken_for_a_low_one():
    said = rate_words.drift_words(
        chart("", "", "", "", "below the lower limit", provisional=1, signal="below_limit"), "month"
    )
    assert said == (
        "Not drifting: none of 4 settled months breaks a rule of the chart. "
        "1 month is still provisional."
    )


def test_a_provisional_month_above_the_limit_is_told_at_once():
    said = rate_words.drift_words(
        chart("", "", "", "", "above the upper limit", provisional=1, signal="above_limit"), "month"
    )
    assert said.startswith("Look into it: May 2031 is above the upper limit already")


def test_a_chart_that_is_all_provisional_says_that_it_is_too_early():
    said = rate_words.drift_words(chart(provisional=5), "month")
    assert said == "Too early to say: every month is still provisional."


def test_no_line_days_give_no_rate_and_not_nought():
    row = {"events": 0, "line_days": 0, "log_coverage": None}
    assert rate_words.rate_words(row) == "no event and no home line-days: no rate"


def ratios(alone: tuple[float, ...], clustered: tuple[float, ...]) -> pd.DataFrame:
    return pd.DataFrame([alone, clustered], columns=["ratio", "lower", "upper", "p"])


NONE = (float("nan"),) * 4


@pytest.mark.parametrize(
    ("clustered", "reading"),
    [
        ((2.0, 1.2, 3.4, 0.01), "higher by more than chance."),
        ((2.0, 0.8, 5.0, 0.14), "the data do not tell the two apart."),
        ((0.5, 0.3, 0.8, 0.01), "lower by more than chance."),
    ],
)
def test_a_ratio_is_read_off_the_row_with_families_allowed_for(clustered, reading):
    table = ratios((2.0, 1.5, 2.7, 0.001), clustered)
    said = rate_words.ratio_words(table, ("north", "south"))
    assert said.startswith(f"North has {clustered[0]:.2f} times the rate of south")
    assert said.endswith(reading)
    assert "families allowed for" in said


def test_with_too_few_families_the_plain_row_is_read_and_that_is_said():
    said = rate_words.ratio_words(ratios((2.0, 0.4, 9.9, 0.4), NONE), ("north", "south"))
    assert "events taken as independent" in said
    assert "fewer than ten families" in said


def test_a_ratio_over_no_event_is_not_told_as_a_number():
    table = ratios((float("inf"), 0.9, float("inf"), 0.06), NONE)
    said = rate_words.ratio_words(table, ("north", "south"))
    assert said.startswith("South has no event, so no ratio can be told but its limits")
    assert "0.90 and more" in said


def test_two_groups_without_an_event_have_nothing_to_tell_apart():
    said = rate_words.ratio_words(ratios(NONE, NONE), ("north", "south"))
    assert said == "Neither north nor south has an event: there is nothing to tell apart."


def test_outlying_sites_are_named_in_their_order_and_not_ranked():
    funnel = pd.DataFrame(
        {
            "name": ["A", "B", "C"],
            "rate_per_1000": [9.0, 2.0, 20.0],
            "lower_95": [1.0] * 3,
            "upper_95": [8.0] * 3,
            "lower_998": [0.0] * 3,
            "upper_998": [11.0] * 3,
        }
    )
    assert rate_words.funnel_words(funnel) == (
        "C lies outside the 99.8 % limits; A lies outside the 95 % limits about the rate of all "
        "sites."
    )


def test_the_quarter_of_a_day_is_named_as_tables_name_it():
    days = [date(2031, 1, 1), date(2031, 3, 31), date(2031, 4, 1), date(2031, 12, 31)]
    named = [group_words.period_of(day, "quarter") for day in days]
    assert named == ["2031-Q1", "2031-Q1", "2031-Q2", "2031-Q4"]
