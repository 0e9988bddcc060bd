"""Which files does the weekly summary page offer? The report as HTML or PDF."""

from __future__ import annotations

from dash import Dash
from flask import Response, request

from dashboard.addresses.week import read_week
from dashboard.security import plain
from dashboard.security.roles import BELOW_WEEK
from dashboard.security.sign_in import session_of_request
from dashboard.session.service import Service
from dashboard.week.queries import PdfError, WeekQueries

KINDS = ("html", "pdf")


def answer_week(app: Dash, service: Service) -> None:
    """Register the routes."""

    def report(kind: str) -> Response:
        if kind not in KINDS:
            return nothing("")
        asked = read_week(request.query_string.decode("ascii", "replace"))
        try:
            made = WeekQueries(session_of_request(service)).week_file(asked, kind)
        except PdfError as fault:
            return plain.cannot(str(fault))
        about = {"Content-Disposition": f'attachment; filename="{made.name}"'}
        return Response(made.content, mimetype=made.kind, headers=about)

    def nothing(rest: str) -> Response:  # noqa: ARG001 - any value
        return plain.nothing_here("There is no page at this address.")

    app.server.add_url_rule(f"{BELOW_WEEK}report.<kind>", "report_file", report)
    app.server.add_url_rule(f"{BELOW_WEEK}<path:rest>", "nothing_week", nothing)
