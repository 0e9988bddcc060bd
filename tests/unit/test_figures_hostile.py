"""Names of sites, families, people, steps and sources are text in every figure, never markup or links."""

from __future__ import annotations

import inspect
import json
from datetime import date

import pandas as pd
import plotly.graph_objects as go
import pytest

from dashboard import figures
from dashboard.figures.gaps import gap_figure
from tests.unit.test_rates_figures import AT_RISK, CHART, CURVES, FUNNEL, GROUPS, SUMMARY, table

# plotly obeys a few tags and links in every text of a figure.
LINK = "<a href='https://example.org'>North</a>"
DAY = pd.Timestamp("2031-03-04")


def named(text: str, **columns: object) -> pd.DataFrame:
    return table(text).assign(**(columns or {"name": LINK}))


def of_one(**cells: object) -> pd.DataFrame:
    return pd.DataFrame([cells])


def limits_of(which: str) -> dict[str, float]:
    return {f"{which}_ratio": 0.5, f"{which}_lower": 0.2, f"{which}_upper": 1.1}


MADE = {
    "before_after": lambda: figures.before_after(
        of_one(step_name=LINK, families=12, **limits_of("own"), **limits_of("adjusted"))
    ),
    "control_chart": lambda: figures.control_chart(
        named(CHART, signal_words=["", LINK, ""]), of_one(at=1.0, mark="A", text=LINK)
    ),
    "days_to_receipt": lambda: figures.days_to_receipt(
        of_one(name=LINK, entries=20, median_days=1, nine_in_ten_days=4)
    ),
    "ended_unplanned": lambda: figures.ended_unplanned(
        named(CURVES), named(SUMMARY).head(1), (1, 30, 60), 62
    ),
    "family_strip": lambda: figures.family_strip(
        [figures.Group("L1", LINK), figures.Group("", LINK)],
        [
            figures.Span(
                *("L1", "dressing", "in_date", date(2031, 2, 20), date(2031, 3, 1), LINK),
                *("lines", "token"),
            )
        ],
        [
            figures.Mark("L1", track, track, date(2031, 3, 1), LINK, "home_log", "token", got)
            for track, got in (("red_flag", date(2031, 3, 1)), ("late", date(2031, 3, 8)))
        ],
        as_of=date(2031, 3, 9),
        start_on=date(2031, 2, 1),
    ),
    "gap_figure": lambda: gap_figure(
        of_one(period=LINK, label=LINK, gap=4, lower_limit=1.0, upper_limit=9.0, signal=LINK),
        3,
        "line-days",
    ),
    "learning_by_changes": lambda: figures.learning_by_changes(
        of_one(name=LINK, families=12, seen=40, missed=3, share=0.075, lower=0.02, upper=0.2)
    ),
    "rate_intervals": lambda: figures.rate_intervals(named(GROUPS), 1.3),
    "share_in_place": lambda: figures.share_in_place(
        named(CURVES), named(SUMMARY).head(1), named(AT_RISK), 62
    ),
    "site_funnel": lambda: figures.site_funnel(named(FUNNEL)),
    "step_picture": lambda: figures.step_picture(
        of_one(family_id=LINK, step_name=LINK, prob=0.7, missed=3, seen=5), (LINK,), (LINK,)
    ),
}


@pytest.mark.parametrize("name", list(MADE))
def test_a_name_is_no_markup_in_a_figure(name):
    figure = go.Figure(MADE[name]())
    text = json.dumps(figure.to_plotly_json(), default=str)
    assert "<a " not in text
    assert "&lt;a href" in text


def test_every_figure_is_tried():
    exported = {name for name in figures.__all__ if inspect.isfunction(getattr(figures, name))}
    assert exported == set(MADE) - {"gap_figure"}
