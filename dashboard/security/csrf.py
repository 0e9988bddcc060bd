"""Does a write come from a page that this dashboard itself has handed out?"""

from __future__ import annotations

import secrets

from dash import Dash
from flask import Response, request
from flask_wtf.csrf import CSRFProtect, generate_csrf

COOKIE = "_csrf_token"
"""Dash sends the value of this cookie back as the header ``X-CSRFToken``."""


def protect_writes(app: Dash) -> None:
    """Demand the token of the reader's own session with every callback."""
    app.server.config.update(
        SECRET_KEY=secrets.token_bytes(32),  # anew with every start: old pages have to reload
        WTF_CSRF_TIME_LIMIT=None,  # as long as the page is open
        SESSION_COOKIE_NAME="linedays_session",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
    )
    CSRFProtect(app.server)

    def hand_out(response: Response) -> Response:
        if (
            request.method == "GET"
            and response.mimetype == "text/html"
            and response.status_code == 200
        ):
            response.set_cookie(COOKIE, generate_csrf(), samesite="Strict", path="/")
        return response

    app.server.after_request(hand_out)
