"""Does a write come from a page that this dashboard itself has handed out?"""

from __future__ import annotations

import secrets

from dash import Dash
from flask import Flask, Response, request
from flask.sessions import SecureCookieSessionInterface
from flask_wtf.csrf import CSRFProtect, generate_csrf

from dashboard.security.cookies import CookieNames
from dashboard.security.gate import is_own_host


class _Sessions(SecureCookieSessionInterface):
    def get_cookie_secure(self, app: Flask) -> bool:  # noqa: ARG002 - Flask's hook
        return needs_secure()


def protect_writes(app: Dash, names: CookieNames) -> None:
    """Demand the token of the reader's own session with every callback and every form."""
    app.server.config.update(
        SECRET_KEY=secrets.token_bytes(32),  # new with every start: old pages have to reload
        WTF_CSRF_TIME_LIMIT=None,  # as long as the page is open
        WTF_CSRF_SSL_STRICT=False,  # where a request comes from is the gate's to see
        SESSION_COOKIE_NAME=names.session,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
    )
    app.server.session_interface = _Sessions()
    CSRFProtect(app.server)

    def hand_out(response: Response) -> Response:
        if (
            request.method == "GET"
            and response.mimetype == "text/html"
            and response.status_code == 200
        ):
            response.set_cookie(
                names.csrf, token(), samesite="Strict", secure=needs_secure(), path="/"
            )
        return response

    app.server.after_request(hand_out)


def token() -> str:
    """The token that forms of this page have to send back."""
    return str(generate_csrf())


def needs_secure() -> bool:
    """Whether cookies of this answer may only travel encrypted: always, but on this machine."""
    return request.scheme != "http" or not is_own_host(request.host)
