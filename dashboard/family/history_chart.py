"""How is a family's history shown: one calendar, the rows behind its marks, and a table?"""

from __future__ import annotations

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.family import parts
from dashboard.family.history import FAMILY
from dashboard.family.views import FamilyView
from dashboard.figures import Group, family_strip
from dashboard.layout import ids, words
from dashboard.layout.attributes import aria, source_place
from dashboard.layout.row_tokens import row_token
from dashboard.layout.templates import shown


def history_section(view: FamilyView) -> Component:
    """The calendar of the chosen time, the place for log entries, and the table."""
    figure = history_figure(view)
    return html.Section(
        [
            shown(parts.times(view)),
            html.Div(
                dcc.Graph(
                    id=ids.FAMILY_FIGURE,
                    figure=figure,
                    config={"displayModeBar": False, "responsive": True},
                    responsive=True,
                    className="history",
                    style={"height": f"{figure['layout']['height']}px"},
                ),
                role="img",
                **aria(label=_description(view)),
            ),
            shown(parts.caption(view)),
            dcc.Store(id=ids.FAMILY_ASKED),
            html.Div(
                id=ids.FAMILY_SOURCE, className="shown-source", role="status", **source_place()
            ),
            shown(parts.history(view)),
        ],
        className="line",
    )


def history_figure(view: FamilyView) -> dict[str, Any]:
    """The calendar of the time shown: lines that had not ended before it, then the family."""
    return family_strip(
        [
            *(
                Group(
                    line.line_id,
                    f"Line {line.line_id} · child {line.child_id}",
                    line.allowed_until if line.state in {"in_date", "due_today"} else None,
                )
                for line in parts.lines_shown(view)
            ),
            Group(FAMILY, f"Family {view.family_id}"),
        ],
        [span._replace(row=row_token(int(span.row), span.table)) for span in view.spans],
        [mark._replace(row=row_token(int(mark.row), mark.table)) for mark in view.marks],
        as_of=view.last,
        start_on=view.first,
    )


def _description(view: FamilyView) -> str:
    lines = words.counted(len(parts.lines_shown(view)), "line", "lines")
    return (
        f"Calendar of family {view.family_id} from {words.day_year(view.first)} to "
        f"{words.day_year(view.last)}: {lines}, log, calls and training. "
        "The table below holds the same."
    )
