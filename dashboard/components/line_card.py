"""How is one line shown: its state in a sentence, its history as a figure and as a table?"""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.components.attributes import aria, shows, source_of
from dashboard.components.static import static
from dashboard.figures import line_history
from dashboard.views import LineView

SHORT_DAYS = 84
"""The last twelve weeks are shown unless the whole time is asked for."""
LEAST_DAYS = 7
TABLE_SPANS = ("out_of_date", "away", "silent")
HEADS = ("Day", "What", "Source")


def line_card(line: LineView, as_of: date, *, whole: bool) -> Component:
    """A line's state, its figure with the place for source rows, and its table."""
    first, last = _shown_days(line, as_of, whole=whole)
    summary = summary_of(line, as_of)
    kind = words.LINE_TYPES.get(line.line_type, words.plain(line.line_type))
    figure = line_history(
        line.spans,
        line.marks,
        as_of=last,
        start_on=first,
        due_on=line.allowed_until if line.state in {"in_date", "due_today"} else None,
    )
    described = f"History of line {line.line_id}. {summary} The table below holds the same."
    return html.Section(
        [
            static(
                html.H2([f"Line {line.line_id}", html.Span(f" {kind}", className="of")]),
                html.P(_about(line, as_of), className="about"),
                html.P(summary, className="summary"),
            ),
            html.Div(
                dcc.Graph(
                    id={"type": ids.FIGURE, "line": line.line_id},
                    figure=figure,
                    config={"displayModeBar": False, "responsive": True},
                    responsive=True,
                    className="history",
                ),
                role="img",
                **aria(label=described),
            ),
            html.P("Choose a mark to see the row it comes from.", className="hint screen"),
            dcc.Store(id={"type": ids.ASKED, "line": line.line_id}),
            html.Div(
                id={"type": ids.SOURCE, "line": line.line_id},
                className="shown-source",
                role="status",
                **source_of(line.line_id),
            ),
            static(_table(line, first)),
        ],
        className="line",
    )


def _shown_days(line: LineView, as_of: date, *, whole: bool) -> tuple[date, date]:
    """First and last day shown: the last weeks at home with the line, or all of them."""
    last = min(as_of, line.end_on) if line.end_on else as_of
    first = line.home_from if whole else max(last - timedelta(days=SHORT_DAYS), line.placed_on)
    return min(first, last - timedelta(days=LEAST_DAYS)), last


def _about(line: LineView, as_of: date) -> str:
    parts = [
        f"Child {line.child_id}",
        f"placed {words.short_day(line.placed_on, as_of)}",
        f"home from {words.short_day(line.home_from, as_of)}",
        words.plain(line.therapy) if line.therapy else None,
        line.site,
        line.nurse,
    ]
    return " · ".join(part for part in parts if part)


def summary_of(line: LineView, as_of: date) -> str:
    """How the dressing of a line stands, in a sentence or two."""
    changed = "no change is known"
    if line.last_change_on:
        changed = f"last changed {words.short_day(line.last_change_on, as_of)}"
    until = words.short_day(line.allowed_until, as_of) if line.allowed_until else None
    ended = words.short_day(line.end_on, as_of) if line.end_on else "a day not recorded"
    days = words.counted(line.days_overdue, "day", "days")
    change_now = f"It had to be changed by {until}, {days} ago."
    if not line.days_overdue:
        change_now = "It has to be changed today."
    in_date = f"The dressing is in date until {until}: {changed}."
    if until is None:
        in_date = f"No dressing change is due by the calendar: {changed}."
    said = {
        "ended": f"The line ended on {ended}.",
        "not_at_home": "The child is not at home; nothing is due from the family.",
        "not_accessed": "The port is not accessed; no dressing is due.",
        "unknown": f"Whether the dressing is in date is not known: {changed}.",
        "compromised": (
            f"The dressing was found loose, damp or soiled, and no change is logged since. {change_now}"
        ),
        "overdue": f"The dressing is {days} overdue: {changed}, allowed until {until}.",
        "due_today": f"The dressing is due today: {changed}.",
        "in_date": in_date,
    }
    return said[line.state]


def _table(line: LineView, first: date) -> Component:
    """The figure's marks and spans as a table, newest first."""
    rows = [_row(line, *cells) for cells in _told(line, first)]
    return html.Details(
        [
            html.Summary(f"The same as a table ({words.counted(len(rows), 'row', 'rows')})"),
            html.Div(
                html.Table(
                    [
                        html.Thead(html.Tr([html.Th(h, scope="col") for h in HEADS])),
                        html.Tbody(rows),
                    ],
                    className="plain",
                ),
                className="scroll",
                tabIndex=0,
                role="region",
                **aria(label=f"History of line {line.line_id} as a table"),
            ),
        ]
    )


def _told(line: LineView, first: date) -> list[tuple[str, str, str, int]]:
    """Day, label, table and row of every mark and span shown, newest first."""
    start = pd.Timestamp(first)
    marks = line.marks[(line.marks["on"] >= start).to_numpy(dtype=bool)]
    spans = line.spans[(line.spans["end_on"] > start).to_numpy(dtype=bool)]
    spans = spans[spans["kind"].isin(TABLE_SPANS).to_numpy(dtype=bool)]
    told = [
        (on, words.day_year(on), label, table, int(row))
        for on, label, table, row in zip(
            marks["on"], marks["label"], marks["table"], marks["row"], strict=True
        )
    ] + [
        (on, f"{words.day_year(on)} to {words.day_year(to)}", label, table, int(row))
        for on, to, label, table, row in zip(
            *(spans[c] for c in ("start_on", "end_on", "label", "table", "row")), strict=True
        )
    ]
    told.sort(key=lambda cells: (-cells[0].toordinal(), cells[2]))
    return [cells[1:] for cells in told]


def _row(line: LineView, day: str, label: str, table: str, row: int) -> Component:
    source: Component = html.Span("–", **aria(hidden="true"))
    if row >= 0:
        source = html.Button(
            [html.Span("Show row"), html.Span(f" of {day}: {label}", className="unseen")],
            type="button",
            className="quiet-action small",
            **shows(line.line_id, table, row),
        )
    return html.Tr([html.Td(day), html.Td(words.sentence(label)), html.Td(source)])
