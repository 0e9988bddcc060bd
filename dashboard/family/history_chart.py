"""How is a family's history shown: one calendar, the rows behind its marks, and a table?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd
import plotly.graph_objects as go
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses.family import family_address
from dashboard.family.history import FAMILY, LATE_DAYS
from dashboard.family.line_state import line_kind
from dashboard.family.views import FamilyView, LineView
from dashboard.figures import Group, family_strip
from dashboard.layout import ids, words
from dashboard.layout.attributes import aria, current, in_page, keyed, shows, source_place
from dashboard.layout.static import static

TIMES = {"weeks": "8 weeks", "months": "6 months", "all": "all"}
HEADS = ("Day", "Line", "What", "Received")
MOST_CHARACTERS = 240
"""Longer notes are cut in the table; the source row holds the whole."""
CAPTION = (
    f"Choose a mark to see the row it comes from. What the clinic got more than {LATE_DAYS} days "
    "after it was done is drawn at both days."
)


def family_history(view: FamilyView) -> Component:
    """The calendar of the chosen time, the place for source rows, and the table."""
    heading = "What was due, done, found and said"
    return html.Section(
        [
            static(html.H2(heading), _times(view)),
            html.Div(
                dcc.Graph(
                    id=ids.FAMILY_FIGURE,
                    figure=(figure := history_figure(view)),
                    config={"displayModeBar": False, "responsive": True},
                    responsive=True,
                    className="history",
                    style={"height": f"{figure.layout.height}px"},
                ),
                role="img",
                **aria(label=_described(view)),
            ),
            static(html.P(CAPTION, className="hint screen"), _left_out(view)),
            dcc.Store(id=ids.FAMILY_ASKED),
            html.Div(
                id=ids.FAMILY_SOURCE, className="shown-source", role="status", **source_place()
            ),
            static(_table(view), _pager(view)),
        ],
        className="line",
    )


def _shown(view: FamilyView) -> list[LineView]:
    """Lines that had not ended before the first day shown."""
    return [line for line in view.lines if line.end_on is None or line.end_on > view.first]


def history_figure(view: FamilyView) -> go.Figure:
    """The calendar of the time shown: lines that had not ended before it, then the family."""
    return family_strip(
        [
            *(
                Group(
                    line.line_id,
                    f"Line {line.line_id} · {line_kind(line)} · child {line.child_id}",
                    line.allowed_until if line.state in {"in_date", "due_today"} else None,
                )
                for line in _shown(view)
            ),
            Group(FAMILY, f"Family {view.family_id}"),
        ],
        view.spans,
        view.marks,
        as_of=view.last,
        start_on=view.first,
    )


def _described(view: FamilyView) -> str:
    lines = words.counted(len(_shown(view)), "line", "lines")
    return (
        f"Calendar of family {view.family_id} from {words.day_year(view.first)} to "
        f"{words.day_year(view.last)}: {lines}, log, calls and training. "
        "The table below holds the same."
    )


def _left_out(view: FamilyView) -> Component | None:
    ended = [line.line_id for line in view.lines if line not in _shown(view)]
    if not ended:
        return None
    said = f"Not shown, for it ended before: line {words.listed(ended)}."
    if len(ended) > 1:
        said = f"Not shown, for they ended before: lines {words.listed(ended)}."
    return html.P(said, className="hint")


def _times(view: FamilyView) -> Component:
    items = [
        html.A(
            name,
            href=family_address(view.family_id, replace(view.choice, time=time, page=1)),
            **current(it_is=view.choice.time == time),
            **in_page(),
            **keyed(f"time-{time}"),
        )
        for time, name in TIMES.items()
    ]
    return html.Nav([html.Span("Show"), *items], className="spans", **aria(label="Time shown"))


def _table(view: FamilyView) -> Component:
    """The marks and spans of the figure, newest first."""
    rows = [_row(*cells) for cells in view.told.itertuples(index=False)]
    if not rows:
        return html.P("Nothing is known of this time.")
    source = html.Th("Source", scope="col", className="screen")
    return html.Div(
        html.Table(
            [
                html.Thead(html.Tr([*(html.Th(h, scope="col") for h in HEADS), source])),
                html.Tbody(rows),
            ],
            className="plain told",
        ),
        className="scroll",
        tabIndex=0,
        role="region",
        **aria(label="The same as a table, newest first"),
    )


def _row(on: Any, until: Any, group: str, label: str, table: str, row: int, received: Any) -> Any:
    day = words.day_year(on)
    if not pd.isna(until):
        day = f"{day} to {words.day_year(until)}"
    label = label if len(label) <= MOST_CHARACTERS else f"{label[:MOST_CHARACTERS]} …"
    source: Component = html.Span("–", **aria(hidden="true"))
    if row >= 0:
        source = html.Button(
            [html.Span("Show row"), html.Span(f" of {day}: {label}", className="unseen")],
            type="button",
            className="quiet-action small",
            **shows(table, row),
            **keyed(f"row-{table}-{row}"),
        )
    return html.Tr(
        [
            html.Td(day, className="day"),
            html.Td(group or "family"),
            html.Td(words.sentence(label), className="words"),
            html.Td(_received(on, received), className="received"),
            html.Td(source, className="source-way screen"),
        ]
    )


def _received(on: Any, received: Any) -> str:
    if pd.isna(received):
        return ""
    days = (received - on).days
    if days <= 0:
        return "same day"
    said = f"{words.counted(days, 'day', 'days')} later"
    return f"{said}, {words.day_year(received)}" if days > LATE_DAYS else said


def _pager(view: FamilyView) -> Component:
    said = f"{words.counted(view.told_in_all, 'row', 'rows')} in the time shown"
    if view.pages == 1:
        return html.P(said, className="pager")
    ways = [
        html.A(
            name,
            href=family_address(view.family_id, replace(view.choice, page=to)),
            **in_page(),
            **keyed(f"page-{name}"),
        )
        for name, to in (("Newer", view.choice.page - 1), ("Older", view.choice.page + 1))
        if 1 <= to <= view.pages
    ]
    place = html.Span(f"{said}; page {view.choice.page} of {view.pages}")
    return html.Nav([place, *ways], className="pager", **aria(label="Parts of the table"))
