"""Where does the plain address of a list lead? To the list as the person last set it up."""

from __future__ import annotations

from typing import Any

from dash import Dash
from flask import redirect, request

from dashboard.addresses.calls import CALLS
from dashboard.addresses.families import FAMILIES
from dashboard.security.sign_in import session_of_request
from dashboard.session.service import Service


def lead_to_own_choice(app: Dash, service: Service) -> None:
    """Lead an address without a query to the filters and the order that the person chose last.

    They are in the address from then on, so that a link, a second tab and the way back agree.
    """

    def lead() -> Any:
        if request.method != "GET" or request.path not in (CALLS, FAMILIES) or request.query_string:
            return None
        query = session_of_request(service).own_choice(request.path)
        return redirect(f"{request.path}?{query}", code=303) if query else None

    app.server.before_request(lead)
