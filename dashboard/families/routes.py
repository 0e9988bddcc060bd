"""Where does a search lead: to the one family that it means, or to the list?"""

from __future__ import annotations

from dash import Dash
from flask import Response, redirect, request
from werkzeug.wrappers import Response as Answer

from dashboard.addresses.families import FIND, FamiliesChoice, write_families
from dashboard.addresses.family import family_address
from dashboard.families.queries import FamiliesQueries
from dashboard.security import plain
from dashboard.security.roles import BELOW_FAMILIES
from dashboard.security.sign_in import session_of_request
from dashboard.session.service import Service


def answer_families(app: Dash, service: Service) -> None:
    """Register the routes."""

    def find() -> Answer:
        text = request.args.get("q", "").strip()
        family = FamiliesQueries(session_of_request(service)).found(text)
        address = (
            write_families(FamiliesChoice(q=text)) if family is None else family_address(family)
        )
        return redirect(address, code=303)

    def nothing(rest: str) -> Response:  # noqa: ARG001 - any value
        return plain.nothing_here("There is no page at this address.")

    app.server.add_url_rule(FIND, "find_family", find)
    app.server.add_url_rule(f"{BELOW_FAMILIES}<path:rest>", "nothing_families", nothing)
