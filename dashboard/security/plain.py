"""Which pages are sent as plain HTML, before anybody is signed in or where there is nothing?"""

from __future__ import annotations

from flask import Response, current_app, make_response

from dashboard.layout.templates import render
from dashboard.security.csrf import token


def sign_in_page(to: str, message: str | None, code: str, *, status: int = 200) -> Response:
    """The page to sign in, with a message; the password is never sent back."""
    text = render(
        "security/sign_in",
        title="Sign in",
        message=message,
        token=token(),
        to=to,
        code=code[:40],
        provider=current_app.config.get("PROVIDER_NAME"),
    )
    return _answer(text, status)


def second_step_page(to: str, message: str | None, *, status: int = 200) -> Response:
    """The page that asks for the code of the second factor."""
    text = render(
        "security/second_step", title="Second step", message=message, token=token(), to=to
    )
    return _answer(text, status)


def nothing_here(what: str) -> Response:
    """There is no such page, or no such family for this person."""
    return _plain("Page not found", what, 404)


def not_for_this_role(what: str) -> Response:
    """There is such a page, and this person's role does not include it."""
    return _plain("Not for your role", what, 403)


def cannot(what: str) -> Response:
    """What was asked for is not possible on this machine."""
    return _plain("Not possible on this machine", what, 501)


def unusable(what: str) -> Response:
    """The store cannot be used at present."""
    return _plain("Not possible at present", f"{what} This page tries again by itself.", 503)


def _plain(title: str, what: str, status: int) -> Response:
    return _answer(render("security/plain", title=title, what=what), status)


def _answer(text: str, status: int) -> Response:
    return make_response(text, status, {"Content-Type": "text/html; charset=utf-8"})
