"""What is answered below the page of incoming logs: files to take out."""

from __future__ import annotations

from dash import Dash
from flask import Response

from dashboard.queries import Entrance
from dashboard.security import plain
from dashboard.security.roles import BELOW_INCOMING
from dashboard.security.sign_in import signed_in

REFUSED = f"{BELOW_INCOMING}refused/"


def answer_incoming(app: Dash, entrance: Entrance) -> None:
    """Register the routes."""

    def refused(table: str) -> Response:
        content = entrance.queries_of(signed_in()).refused_file(table)
        if content is None:
            return nothing("")
        about = {"Content-Disposition": f'attachment; filename="{table}.csv"'}
        return Response(content, mimetype="text/csv", headers=about)

    def nothing(rest: str) -> Response:  # noqa: ARG001 - whatever it is
        return plain.nothing_here("There is no page at this address.")

    app.server.add_url_rule(f"{REFUSED}<table>.csv", "refused_file", refused)
    app.server.add_url_rule(f"{BELOW_INCOMING}<path:rest>", "nothing_incoming", nothing)
