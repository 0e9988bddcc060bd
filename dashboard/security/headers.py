"""Which code may run on a page, who may frame it, and who may keep it?"""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlsplit

from dash import Dash
from flask import Response, request

from dashboard.config import Web

CACHED = ("/_dash-component-suites/", "/assets/")
"""Paths of program files, which hold no data and may be kept by the browser."""
OF_A_VERSION = "m"
"""In the address of a program file: when it was written. A changed file has another address."""
ONE_DAY = 86_400

FIXED = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


TWO_YEARS = "max-age=63072000; includeSubDomains"


def add_headers(app: Dash, web: Web) -> None:
    """Add the hardening headers to every response.

    The policy is made with the first response, when all inline scripts of Dash are known.
    Styles stay open to inline rules, which the charts need.
    """
    made: list[str] = []

    def harden(response: Response) -> Response:
        if not made:
            made.append(content_policy(app.csp_hashes(), _also_sent_to(web)))
        response.headers.update(FIXED)
        response.headers["Content-Security-Policy"] = made[0]
        if web.encrypted:
            response.headers["Strict-Transport-Security"] = TWO_YEARS
        if not request.path.startswith(CACHED):
            response.headers["Cache-Control"] = "no-store"
        elif OF_A_VERSION in request.args and response.status_code == 200:
            response.headers["Cache-Control"] = f"max-age={ONE_DAY}, immutable"
        return response

    app.server.after_request(harden)


def _also_sent_to(web: Web) -> str:
    """Where the form to sign out may lead: browsers look at the address it is redirected to."""
    if web.provider is None:
        return ""
    address = urlsplit(web.provider.issuer)
    return f" {address.scheme}://{address.netloc}"


def content_policy(script_hashes: Sequence[str], also_sent_to: str = "") -> str:
    """Content security policy that lets nothing in from elsewhere."""
    rules = {
        "default-src": "'self'",
        "script-src": " ".join(["'self'", *script_hashes]),
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "connect-src": "'self'",
        "object-src": "'none'",
        "base-uri": "'none'",
        "form-action": "'self'" + also_sent_to,
        "frame-ancestors": "'none'",
    }
    return "; ".join(f"{rule} {value}" for rule, value in rules.items())
