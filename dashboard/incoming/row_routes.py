"""What is answered about single rows below the page of incoming data: corrected, voided."""

from __future__ import annotations

from dash import Dash
from flask import Response, make_response, request

from dashboard.incoming.cause_page import cause_page
from dashboard.incoming.queries import IncomingQueries
from dashboard.incoming.row_page import entry_done_page, row_done_page, row_not_now_page, row_page
from dashboard.incoming.views import RowCorrected, RowForm
from dashboard.security.roles import CAUSE, ENTRY, ROW, Right
from dashboard.security.sign_in import session_of_request, signed_in
from dashboard.session.forms import FormError
from dashboard.session.service import Service

NOT_LISTED = "This row is no longer on the list: it was corrected, or its file was imported again."


def answer_rows(app: Dash, service: Service) -> None:
    """Register the routes."""

    def row(number: int) -> Response:
        signed_in().must(Right.CORRECT_ROWS)
        queries = IncomingQueries(session_of_request(service))
        try:
            if request.method == "GET":
                found: RowForm | RowCorrected | None = queries.row_to_correct(number)
            else:
                found = queries.correct(number, request.form)
        except FormError as fault:
            return page_response(row_not_now_page(queries.session.context(), str(fault)), 409)
        if found is None:
            return page_response(row_not_now_page(queries.session.context(), NOT_LISTED), 404)
        if isinstance(found, RowForm):
            return page_response(row_page(found), 200)
        return page_response(row_done_page(found), 200)

    def entry(number: int) -> Response:
        signed_in().must(Right.CORRECT_ROWS)
        queries = IncomingQueries(session_of_request(service))
        try:
            done = queries.void(number, undo=request.form.get("do") == "undo")
        except FormError as fault:
            return page_response(row_not_now_page(queries.session.context(), str(fault)), 409)
        return page_response(entry_done_page(done), 200)

    rules = app.server.add_url_rule
    rules(f"{ROW}<int:number>", "incoming_row", row, methods=["GET", "POST"])
    rules(f"{ENTRY}<int:number>", "incoming_entry", entry, methods=["POST"])


def answer_causes(app: Dash, service: Service) -> None:
    """Register the route of rows of one cause."""

    def of_cause() -> Response:
        signed_in().must(Right.CORRECT_ROWS)
        queries = IncomingQueries(session_of_request(service))
        sent = request.form if request.method == "POST" else request.args
        asked = [sent.get(name) for name in ("table", "column", "reason", "value")]
        do = request.form.get("do", "")
        try:
            if do == "undo":
                return page_response(cause_page(queries.undo_cause(sent.get("ingests", ""))), 200)
            page = queries.cause(asked, sent.get("written", ""), do)
        except FormError as fault:
            return page_response(row_not_now_page(queries.session.context(), str(fault)), 409)
        return page_response(cause_page(page), 200 if page.cause else 404)

    app.server.add_url_rule(CAUSE, "incoming_cause", of_cause, methods=["GET", "POST"])


def page_response(text: str, status: int) -> Response:
    """A whole page as an answer."""
    return make_response(text, status, {"Content-Type": "text/html; charset=utf-8"})
