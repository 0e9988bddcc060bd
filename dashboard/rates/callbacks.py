"""What changes on the page of rates while it is open?"""

from __future__ import annotations

from dash import Input, Output, State
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.addresses.rates import read_rates
from dashboard.changes.callbacks import register_changes
from dashboard.layout import ids
from dashboard.layout.row_tokens import row_behind
from dashboard.rates.layout import PATH, parts_of_choice
from dashboard.rates.queries import RatesQueries
from dashboard.rates.queries.annotations import AnnotationForm
from dashboard.rates.queries.work import SignalForm
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.session.forms import RowForm
from dashboard.session.session import Session


def register(guard: Guard) -> None:
    """Register the callbacks of the page."""

    @guard.callback(
        Page.RATES,
        Output(ids.RATES_HEAD, "children"),
        Output(ids.RATES_WORK, "children"),
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

    # Fires when the chart is put on the page: it is shown before this is calculated.
    @guard.callback(
        Page.RATES,
        Output(ids.RATES_ALARMS, "children"),
        Input(ids.RATES_ALARMS, "id"),
        State(ids.URL, "search"),
        State(ids.URL, "pathname"),
    )
    def show_false_alarms(session: Session, _: str, search: str | None, pathname: str) -> str:
        if pathname != PATH:
            raise PreventUpdate
        return RatesQueries(session).false_alarms(read_rates(search))

    register_changes(
        guard, Page.RATES, lambda session, _: RatesQueries(session).changes(marks=True)
    )

    @guard.action(Page.RATES, ids.ANNOTATE, ids.ANNOTATED, ids.ANNOTATION_MESSAGE)
    def annotate(session: Session, given: object, _: object) -> tuple[object, str]:
        return given, RatesQueries(session).annotate(AnnotationForm.of(given))

    @guard.action(Page.RATES, ids.WITHDRAW, ids.ANNOTATED, ids.ANNOTATION_REMOVED)
    def withdraw(session: Session, given: object, _: object) -> tuple[object, str]:
        row = row_behind(RowForm.of(given).row, "rate_notes")
        return given, RatesQueries(session).withdraw_annotation(row)

    @guard.action(Page.RATES, ids.SIGNAL_ACT, ids.ANNOTATED, ids.SIGNAL_MESSAGE)
    def act(session: Session, given: object, _: object) -> tuple[object, str]:
        return given, RatesQueries(session).act_on_signal(SignalForm.of(given))
