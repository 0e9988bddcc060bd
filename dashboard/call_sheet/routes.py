"""What is answered where calls made from the printed list are typed in? A plain form."""

from __future__ import annotations

from dash import Dash
from flask import Response, make_response, request

from dashboard.call_sheet.queries import SheetQueries
from dashboard.call_sheet.views import Sheet
from dashboard.layout import frame as shell
from dashboard.layout.templates import render
from dashboard.security import csrf, plain
from dashboard.security.roles import BELOW_CALLS, CALL_SHEET
from dashboard.security.sign_in import session_of_request
from dashboard.session.service import Service

TITLE = "Calls made from the printed list"


def answer_call_sheet(app: Dash, service: Service) -> None:
    """Register the routes."""

    def sheet() -> Response:
        queries = SheetQueries(session_of_request(service))
        if request.method == "GET":
            return _page(queries.sheet(request.args), 200)
        done = queries.record(request.form)
        return _page(done, 422 if done.fault else 200)

    def nothing(rest: str) -> Response:  # noqa: ARG001 - any value
        return plain.nothing_here("There is no page at this address.")

    app.server.add_url_rule(CALL_SHEET, "call_sheet", sheet, methods=["GET", "POST"])
    app.server.add_url_rule(f"{BELOW_CALLS}<path:rest>", "nothing_calls", nothing)


def _page(sheet: Sheet, status: int) -> Response:
    content = render(
        "call_sheet/page", title=TITLE, sheet=sheet, address=CALL_SHEET, token=csrf.token()
    )
    text = shell.whole("/", sheet.context, TITLE, content)
    return make_response(text, status, {"Content-Type": "text/html; charset=utf-8"})
