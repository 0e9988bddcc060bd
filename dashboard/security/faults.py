"""How does a fault become one sentence on the screen and a log line without any data?"""

from __future__ import annotations

import logging
import traceback
from typing import Any

from dash import Dash
from dash.exceptions import DependencyException
from flask import Response, redirect, request
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from analysis.errors import UserError
from dashboard.security import plain
from dashboard.security.roles import NotAllowedError
from dashboard.security.sign_in import SIGN_IN, signed_in
from dashboard.session.service import Service

log = logging.getLogger("linedays.dashboard")

ASK_AGAIN_SECONDS = 10
"""After so long a page that could not be shown asks again."""


def report_faults(app: Dash, service: Service) -> None:
    """Answer every fault with its code and one sentence; never with a traceback.

    The log names the kind of fault and the places in the program. It leaves out the message,
    which may hold a note, a contact or a code.
    """

    def not_allowed(fault: NotAllowedError) -> Response:
        service.note_refusal(signed_in(), fault.what)
        if request.method in {"GET", "HEAD"}:
            return plain.not_for_this_role(str(fault))
        return _answer(403, str(fault))

    server = app.server
    server.register_error_handler(NotAllowedError, not_allowed)
    server.register_error_handler(UserError, _unusable)
    server.register_error_handler(HTTPException, _refused)
    server.register_error_handler(CSRFError, _old_page)
    server.register_error_handler(DependencyException, _no_such_file)
    server.register_error_handler(Exception, _broken)


def _unusable(fault: UserError) -> Response:
    """The store cannot be read or written now; a page asks again by itself."""
    log.error("%s", fault)
    is_page = request.method in {"GET", "HEAD"} and not request.path.startswith("/_")
    answer = plain.unusable(str(fault)) if is_page else _answer(503, str(fault))
    answer.headers["Retry-After"] = str(ASK_AGAIN_SECONDS)
    if is_page:
        answer.headers["Refresh"] = str(ASK_AGAIN_SECONDS)
    return answer


def _refused(fault: HTTPException) -> Response:
    return _answer(fault.code or 500, fault.description or "The request was refused.")


def _old_page(_: Exception) -> Any:
    if request.path == SIGN_IN:
        return redirect(f"{SIGN_IN}?old=1", code=303)
    return _answer(400, "This page is out of date. Reload it and try again.")


def _no_such_file(_: Exception) -> Response:
    return _answer(404, "There is no such file.")


def _broken(fault: Exception) -> Response:
    places = traceback.extract_tb(fault.__traceback__)
    log.error(
        "%s at %s",
        type(fault).__name__,
        " < ".join(f"{p.name}:{p.lineno}" for p in reversed(places[-6:])),
    )
    return _answer(500, "Something went wrong in the program. Reload the page.")


def _answer(code: int, text: str) -> Response:
    return Response(f"{text}\n", status=code, mimetype="text/plain")
