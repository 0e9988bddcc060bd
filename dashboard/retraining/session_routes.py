"""What is answered on the pages of training sessions? Plain forms and pages to print."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from dash import Dash
from flask import Response, make_response, redirect, request
from markupsafe import Markup
from werkzeug.wrappers import Response as Answer

from dashboard.addresses.retraining import RETRAINING, SESSION, dated_address, plan_address
from dashboard.layout import frame as shell
from dashboard.layout.row_tokens import row_behind
from dashboard.layout.templates import render
from dashboard.retraining import words as need_words
from dashboard.retraining.queries.planning import SessionQueries
from dashboard.retraining.session_views import PlanForm, Session, SessionPage
from dashboard.retraining.words import session_title
from dashboard.security import csrf, plain
from dashboard.security.roles import BELOW_RETRAINING, SESSIONS
from dashboard.security.sign_in import session_of_request
from dashboard.session.forms import FormError
from dashboard.session.service import Service
from dashboard.session.views import PageContext

DONE = {
    "planned": "Session planned.",
    "changed": "Session changed.",
    "cancelled": "Session cancelled.",
    "undone": "The last change is undone.",
}
NO_SESSION = "There is no such session, or it is not one of yours."
Act = Callable[[SessionQueries, Session], str]


def answer_sessions(app: Dash, service: Service) -> None:
    """Register the routes."""

    def asked() -> SessionQueries:
        return SessionQueries(session_of_request(service))

    def new() -> Answer:
        queries = asked()
        if request.method == "GET":
            return _plan(queries.blank(request.args), 200)
        return _planned(queries, None, "planned")

    def of_session(answer: Callable[[SessionQueries, Session], Answer]) -> Callable[[str], Answer]:
        def answered(token: str) -> Answer:
            queries = asked()
            session = queries.session(row_behind(token, SESSION))
            return plain.nothing_here(NO_SESSION) if session is None else answer(queries, session)

        return answered

    def nothing(rest: str) -> Response:  # noqa: ARG001 - any value
        return plain.nothing_here("There is no page at this address.")

    rule, one = app.server.add_url_rule, f"{SESSIONS}<token>"
    both = ["GET", "POST"]
    rule(plan_address(), "session_new", new, methods=both)
    rule(one, "session_page", of_session(_shown))
    rule(f"{one}/change", "session_change", of_session(_change), methods=both)
    rule(f"{one}/handouts", "session_handouts", of_session(_handouts))
    for name, act in ACTS.items():
        rule(f"{one}/{name}", f"session_{name}", of_session(partial(_act, act)), methods=["POST"])
    rule(f"{BELOW_RETRAINING}<path:rest>", "nothing_retraining", nothing)


def _mark(queries: SessionQueries, session: Session) -> str:
    return queries.mark(session, request.form)


def _unmark(queries: SessionQueries, session: Session) -> str:
    return queries.unmark(session)


def _cancel(queries: SessionQueries, session: Session) -> str:
    queries.cancel(session)
    return "cancelled"


def _undo(queries: SessionQueries, session: Session) -> str:
    return "undone" if queries.undo(session, request.form.get("row")) else ""


ACTS: Mapping[str, Act] = {
    "attendance": _mark,
    "not-marked": _unmark,
    "cancel": _cancel,
    "undo": _undo,
}
"""What the buttons of a session do; a word of `DONE`, nothing or a sentence tells what came of it."""


def _act(act: Act, queries: SessionQueries, session: Session) -> Answer:
    try:
        message = act(queries, session)
    except FormError as fault:
        return _session(queries.page(session, fault=str(fault)), 422)
    if message in DONE:
        return redirect(f"{dated_address(session.number)}?done={message}", code=303)
    if not message:
        return redirect(RETRAINING, code=303)
    later = queries.again()
    return _session(later.page(later.session(session.number) or session, message=message), 200)


def _shown(queries: SessionQueries, session: Session) -> Answer:
    message = DONE.get(request.args.get("done", ""))
    return _session(queries.page(session, message=message), 200)


def _change(queries: SessionQueries, session: Session) -> Answer:
    if request.method == "GET":
        return _plan(queries.filled(session), 200)
    return _planned(queries, session, "changed")


def _planned(queries: SessionQueries, before: Session | None, done: str) -> Answer:
    several = {name: request.form.getlist(name) for name in ("skills", "invited")}
    number = None if before is None else before.number
    try:
        stored = queries.plan(request.form, several, number)
    except FormError as fault:
        if before is None:
            return plain.cannot(str(fault))
        return _session(queries.page(before, fault=str(fault)), 422)
    if isinstance(stored, PlanForm):
        return _plan(stored, 422)
    return redirect(f"{dated_address(stored)}?done={done}", code=303)


def _plan(form: PlanForm, status: int) -> Response:
    title = "Plan a training session" if form.number is None else "Change a training session"
    to = plan_address() if form.number is None else f"{dated_address(form.number)}/change"
    back = RETRAINING if form.number is None else dated_address(form.number)
    content = render(
        "retraining/plan",
        title=title,
        plan=form,
        address=to,
        back=back,
        skills=need_words.SKILLS.items(),
        token=csrf.token(),
    )
    return _page(form.context, title, content, status)


def _session(page: SessionPage, status: int) -> Response:
    title = session_title(page.session)
    content = render(
        "retraining/session",
        title=title,
        page=page,
        session=page.session,
        address=dated_address(page.session.number),
        back=RETRAINING,
        skills=need_words.SKILLS,
        outcomes=need_words.OUTCOMES,
        token=csrf.token(),
    )
    return _page(page.context, title, content, status)


def _handouts(queries: SessionQueries, session: Session) -> Answer:
    page = queries.handouts(session)
    title = session_title(session)
    content = render(
        "retraining/handouts",
        title=title,
        page=page,
        session=session,
        back=dated_address(session.number),
    )
    return _page(page.context, f"Hand-outs: {title}", content, 200)


def _page(context: PageContext, title: str, content: Markup, status: int) -> Response:
    text = shell.whole(RETRAINING, context, title, content)
    return make_response(text, status, {"Content-Type": "text/html; charset=utf-8"})
