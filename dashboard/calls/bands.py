"""How many families are in each band, and how is one band chosen?"""

from __future__ import annotations

from dataclasses import replace

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.calls import Choice, write_choice
from dashboard.call_state.bands import band_mark
from dashboard.calls.views import CallsView
from dashboard.layout import words
from dashboard.layout.attributes import aria, current, in_page


def band_choice(view: CallsView) -> Component:
    """Counts by band in words, each a way to show that band alone."""
    chosen = view.choice
    to_call = sum(view.counts[b] for b in words.BANDS_TO_CALL)
    left, possible = None, None
    if view.room is not None:
        left = f"room for {words.thousands(view.room.left)} today"
        possible = f"of today's {words.counted(view.room.possible, 'call', 'calls')}"
    items = [_item("All to call", None, to_call, chosen, left)]
    items += [_item(words.BANDS[b].title, b, n, chosen) for b, n in view.counts.items()]
    items.append(_item(words.DONE_TITLE, words.DONE, view.done_count, chosen, possible))
    return html.Nav(html.Ul(items), className="bands", **aria(label="Bands"))


def _item(
    title: str, band: str | None, count: int, chosen: Choice, beside: str | None = None
) -> Component:
    to = write_choice(replace(chosen, band=band, page=1, family_id=None))
    mark = [band_mark(band)] if band in words.BANDS else []
    return html.Li(
        html.A(
            [
                html.Span(
                    [*mark, html.Span(words.thousands(count), className="count")],
                    className="number",
                ),
                html.Span(title, className="title"),
                *([] if beside is None else [html.Span(beside, className="beside")]),
            ],
            href=to,
            className=f"band-{band or 'all'}",
            **in_page(),
            **current(it_is=chosen.band == band),
        )
    )
