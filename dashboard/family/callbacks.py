"""What changes on the page of a family while it is open?"""

from __future__ import annotations

from typing import Any

from dash import Input, Output, State, ctx
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.addresses.family import read_family, read_family_choice
from dashboard.call_actions.callbacks import register_actions
from dashboard.call_actions.queries import state_of
from dashboard.call_actions.views import News
from dashboard.call_actions.words import recorded_meanwhile
from dashboard.evidence.source_rows import source_in_time
from dashboard.family.layout import family_acts, family_body
from dashboard.family.queries import FamilyQueries
from dashboard.layout import ids
from dashboard.layout.row_tokens import row_behind
from dashboard.layout.templates import shown, static
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.session.session import Session


def register(guard: Guard) -> None:
    """Register the callbacks of the family page."""

    @guard.callback(
        Page.FAMILY,
        Output(ids.FAMILY_BODY, "children"),
        Input(ids.URL, "search"),
        State(ids.URL, "pathname"),
        prevent_initial_call=True,
    )
    def show(session: Session, search: str | None, pathname: str) -> Component:
        queries = FamilyQueries(session)
        view = queries.family(read_family(pathname or ""), read_family_choice(search))
        if view is None:
            raise PreventUpdate
        return family_body(queries, view)

    register_actions(guard, ids.FAMILY_ACTS_FAULT, ids.OF_FAMILY_PAGE)

    @guard.callback(
        Page.FAMILY,
        Output(ids.FAMILY_BODY, "children", allow_duplicate=True),
        Output(ids.FAMILY_ACTS, "children"),
        Output(ids.FAMILY_SHOWN, "data"),
        Input(ids.CHANGED, "data"),
        State(ids.URL, "pathname"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    def show_changed(
        session: Session, changed: Any, pathname: str, search: str | None
    ) -> tuple[Component, Component | None, str | None]:
        if not isinstance(changed, dict) or not isinstance(changed.get("message"), str):
            raise PreventUpdate
        session.refresh()  # what this reader recorded a moment ago has to show
        queries = FamilyQueries(session)
        view = queries.family(read_family(pathname or ""), read_family_choice(search))
        if view is None:
            raise PreventUpdate
        news = News(changed["message"], can_undo=bool(changed.get("can_undo")))
        acts = queries.acts(view)
        shown_now = None if acts is None else state_of(acts)
        return family_body(queries, view), family_acts(queries, view, acts, news), shown_now

    @guard.callback(
        Page.FAMILY,
        Output(ids.FAMILY_OTHERS, "children"),
        Input(ids.LOOKED, "data"),
        Input(ids.FAMILY_SHOWN, "data"),
        State(ids.URL, "pathname"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    def show_others(
        session: Session, _: object, state: object, pathname: str, search: str | None
    ) -> str:
        queries = FamilyQueries(session)
        acts = queries.recorded(read_family(pathname or ""), read_family_choice(search))
        if acts is None:
            raise PreventUpdate
        return acts.others if state_of(acts) == state else recorded_meanwhile(acts)

    @guard.callback(
        Page.FAMILY,
        Output(ids.FAMILY_SOURCE, "children"),
        Input(ids.FAMILY_FIGURE, "clickData"),
        Input(ids.FAMILY_ASKED, "data"),
        State(ids.URL, "pathname"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    def show_source(
        session: Session, click: Any, asked: Any, pathname: str, search: str | None
    ) -> Component:
        queries = FamilyQueries(session)
        by_figure = ctx.triggered_id == ids.FAMILY_FIGURE
        table, row = _of_click(click) if by_figure else _of_button(asked)
        known_on = read_family_choice(search).known_on
        number = row_behind(row, table)
        source = queries.source(read_family(pathname or ""), table, number, known_on)
        if source is None:
            return static("family/no_source")
        return shown(source_in_time(source))


def _of_button(asked: Any) -> tuple[object, object]:
    """Table and row that a button of the table asked for."""
    if not isinstance(asked, dict):
        raise PreventUpdate
    return asked.get("table"), asked.get("row")


def _of_click(click: Any) -> tuple[object, object]:
    """Table and row that a clicked mark carries."""
    try:
        table, row = click["points"][0]["customdata"][:2]
    except (KeyError, IndexError, TypeError, ValueError):
        raise PreventUpdate from None
    return table, row
