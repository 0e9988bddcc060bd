"""What changes on the page of rates while it is open?"""

from __future__ import annotations

from typing import Any

from dash import Input, Output, State, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.layout import ids
from dashboard.rates.layout import PATH, parts_of_choice
from dashboard.rates.queries import RatesQueries
from dashboard.rates.queries.annotations import AnnotationForm
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.session.forms import FormError
from dashboard.session.session import Session


def register(guard: Guard) -> None:
    """Register the callbacks of the page."""

    @guard.callback(
        Page.RATES,
        Output(ids.RATES_HEAD, "children"),
        Output(ids.RATES_CHART, "children"),
        Output(ids.RATES_NOTES, "children"),
        Output(ids.RATES_BODY, "children"),
        Input(ids.URL, "search"),
        Input(ids.ANNOTATED, "data"),
        State(ids.URL, "pathname"),
        prevent_initial_call=True,
    )
    def show(
        session: Session,
        search: str | None,
        annotated: object,  # noqa: ARG001 - only asks for a fresh look
        pathname: str,
    ) -> tuple[Component, ...]:
        queries = RatesQueries(session)
        if pathname != PATH:
            raise PreventUpdate
        return parts_of_choice(queries, search)

    @guard.callback(
        Page.RATES,
        Output(ids.ANNOTATED, "data", allow_duplicate=True),
        Output(ids.ANNOTATION_MESSAGE, "children", allow_duplicate=True),
        Input(ids.ANNOTATE, "data"),
        prevent_initial_call=True,
    )
    def annotate(session: Session, given: object) -> tuple[object, str]:
        queries = RatesQueries(session)
        if given is None:
            raise PreventUpdate
        try:
            said = queries.annotate(AnnotationForm.of(given))
        except FormError as fault:
            return no_update, str(fault)
        return given, said

    @guard.callback(
        Page.RATES,
        Output(ids.ANNOTATED, "data", allow_duplicate=True),
        Output(ids.ANNOTATION_MESSAGE, "children", allow_duplicate=True),
        Input(ids.WITHDRAW, "data"),
        prevent_initial_call=True,
    )
    def withdraw(session: Session, asked: Any) -> tuple[object, str]:
        queries = RatesQueries(session)
        if not isinstance(asked, dict):
            raise PreventUpdate
        try:
            said = queries.withdraw_annotation(asked.get("row"))
        except FormError as fault:
            return no_update, str(fault)
        return asked, said
