"""How is a band shown, so that words say it first and a mark says it at a glance?"""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.layout import words
from dashboard.layout.attributes import aria

STROKES = {"same_day_review": 3, "call_today": 2, "call_this_week": 1}
"""Strokes of a band's mark: the more, the sooner. The others have a hollow one."""


def band_mark(band: str) -> Component:
    """Upright strokes that tell the band without colour; hidden from screen readers."""
    strokes = [html.I() for _ in range(STROKES.get(band, 0))] or [html.I(className="hollow")]
    return html.Span(strokes, className="strokes", **aria(hidden="true"))


def band_name(band: str) -> Component:
    """A band's mark and title."""
    return html.P([band_mark(band), words.BANDS[band].title], className="band")
