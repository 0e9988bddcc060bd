"""What is answered where a source is described: its form again, its TOML, saved or left."""

from __future__ import annotations

from dash import Dash
from flask import Response, make_response, redirect, request

from dashboard.incoming.describe_page import describe_page, saved_page
from dashboard.incoming.files_page import form_page
from dashboard.incoming.queries import IncomingQueries
from dashboard.incoming.row_routes import page_response
from dashboard.security.roles import PATHS, SOURCE, Page, Right
from dashboard.security.sign_in import session_of_request, signed_in
from dashboard.session.forms import FormError
from dashboard.session.service import Service


def answer_sources(app: Dash, service: Service) -> None:
    """Register the route."""

    def source() -> Response:
        signed_in().must(Right.BRING_FILES)
        queries = IncomingQueries(session_of_request(service))
        number, asked = request.form.get("held", ""), request.form.get("do")
        try:
            if asked == "leave":
                queries.leave_held(number)
                return make_response(redirect(PATHS[Page.INCOMING], 303))
            found = queries.described(number, request.form)
            if asked == "toml":
                return make_response(
                    found.text,
                    200,
                    {
                        "Content-Type": "application/toml; charset=utf-8",
                        "Content-Disposition": 'attachment; filename="source.toml"',
                    },
                )
            if asked == "save":
                return page_response(saved_page(queries.save_source(found)), 200)
            return page_response(describe_page(found), 200)
        except FormError as fault:
            page = form_page(queries.session.context(), queries.bringing(), str(fault))
            return page_response(page, 409)

    app.server.add_url_rule(SOURCE, "incoming_source", source, methods=["POST"])
