"""What changes on the weekly summary while it is open?"""

from __future__ import annotations

from dash import Input, Output, State
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.addresses.week import read_week
from dashboard.layout import ids
from dashboard.layout.templates import shown
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.session.session import Session
from dashboard.week.layout import PATH, head_part
from dashboard.week.queries import WeekQueries


def register(guard: Guard) -> None:
    """Register the callback of the page."""

    @guard.callback(
        Page.WEEK,
        Output(ids.WEEK_HEAD, "children"),
        Output(ids.WEEK_BODY, "children"),
        Output(ids.WEEK_BODY, "role"),
        Input(ids.URL, "search"),
        State(ids.URL, "pathname"),
        running=[(Output(ids.WEEK_BODY, "className"), "coming", "")],
    )
    def show(
        session: Session, search: str | None, pathname: str
    ) -> tuple[Component, Component, None]:
        queries = WeekQueries(session)
        if pathname != PATH:
            raise PreventUpdate
        asked = read_week(search)
        return head_part(queries.week_head(asked)), shown(queries.week_body(asked)), None
