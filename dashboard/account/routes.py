"""What is answered on the page of one's own account? Plain forms, so that no script is needed."""

from __future__ import annotations

from collections.abc import Callable

from dash import Dash
from flask import Response, make_response, request

from dashboard.account.queries import AccountQueries
from dashboard.account.views import AccountView
from dashboard.layout import frame as shell
from dashboard.layout.templates import render
from dashboard.security import csrf
from dashboard.security.cookies import CookieNames
from dashboard.security.roles import ACCOUNT, ACCOUNT_PASSWORD, ACCOUNT_SIGN_INS, ACCOUNT_TWO_STEPS
from dashboard.security.sign_in import session_of_request
from dashboard.session.service import Service

TITLE = "Your account"


def answer_account(app: Dash, service: Service, names: CookieNames) -> None:
    """Register the routes."""

    def queries() -> AccountQueries:
        token = request.cookies.get(names.sign_in, "")
        return AccountQueries(session_of_request(service), token, request.remote_addr or "")

    def route(path: str, method: str, answer: Callable[[AccountQueries], AccountView]) -> None:
        app.server.add_url_rule(
            path, f"{method} {path}", lambda: _page(answer(queries())), methods=[method]
        )

    route(ACCOUNT, "GET", lambda asked: asked.account())
    route(ACCOUNT_PASSWORD, "POST", lambda asked: asked.change_password(request.form))
    route(ACCOUNT_TWO_STEPS, "POST", lambda asked: asked.two_steps(request.form))
    route(ACCOUNT_SIGN_INS, "POST", lambda asked: asked.end_sign_in(request.form))


def _page(view: AccountView) -> Response:
    content = render(
        "account/page",
        title=TITLE,
        view=view,
        token=csrf.token(),
        password_address=ACCOUNT_PASSWORD,
        sign_ins_address=ACCOUNT_SIGN_INS,
        two_steps_address=ACCOUNT_TWO_STEPS,
    )
    text = shell.whole(ACCOUNT, view.context, TITLE, content)
    status = 200 if view.fault is None else 422
    return make_response(text, status, {"Content-Type": "text/html; charset=utf-8"})
