"""An answer as JSON holds for a browser what Dash's own would hold."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest
from dash import dcc, html
from plotly.io.json import to_json_plotly

from dashboard.app import LAYOUTS
from dashboard.layout.serialised import as_json, serialised
from dashboard.layout.templates import heading, shown
from dashboard.security.roles import DEMO_READER
from tests.signed_in import app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]


@pytest.mark.parametrize("path", LAYOUTS)
def test_each_page_holds_what_dash_would_send(app: Any, path: str) -> None:
    session = app.service.session_of(DEMO_READER)
    with app.server.test_request_context():
        page = LAYOUTS[path](session, None)
    assert json.loads(as_json(page)) == json.loads(to_json_plotly(page))


def test_a_figure_holds_what_plotly_would_write() -> None:
    days = pd.Series(pd.to_datetime(["2031-03-01", None]))
    figure = go.Figure(go.Scatter(x=days, y=np.array([1.5, np.nan]), text=["<b>", "a/b"]))
    figure.update_xaxes(range=[date(2031, 3, 1), date(2031, 4, 1)])
    part = html.Div([dcc.Graph(figure=figure), shown(heading("1 < 2"))], id="so")
    for made in (part, serialised(part), {"response": {"page": {"children": [part]}}}):
        assert json.loads(as_json(made)) == json.loads(to_json_plotly(made))


def test_what_only_dash_knows_is_written_by_dash() -> None:
    part = html.P([pd.Timestamp("2031-03-01T07:30"), pd.NaT])
    assert json.loads(as_json(part)) == json.loads(to_json_plotly(part))


def test_what_is_no_part_of_a_page_is_refused() -> None:
    with pytest.raises(TypeError):
        as_json(html.P(object()))


def test_markup_is_sent_as_it_is(app: Any) -> None:
    answer = browser_of(app, "manager").page("/definitions")
    assert "<h1>" in answer.text
    assert "\\u003c" not in answer.text
    assert answer.mimetype == "application/json"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
