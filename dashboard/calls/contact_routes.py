"""What is answered where the call list is printed with contacts? A question first, then the list."""

from __future__ import annotations

from dash import Dash
from flask import Response, make_response, request
from markupsafe import Markup

from dashboard.addresses.calls import read_choice, write_choice
from dashboard.calls import parts
from dashboard.calls.queries.contacts import ContactQueries
from dashboard.calls.views import CallsView
from dashboard.layout import frame as shell
from dashboard.layout.templates import render
from dashboard.security import csrf
from dashboard.security.roles import CONTACTS
from dashboard.security.sign_in import session_of_request
from dashboard.session.service import Service

TITLE = "Call list with contacts"


def answer_contacts(app: Dash, service: Service) -> None:
    """Register the route."""

    def contacts() -> Response:
        queries = ContactQueries(session_of_request(service))
        choice = read_choice(request.query_string.decode("ascii", "replace"))
        if request.method == "POST":
            found = queries.with_contacts(choice)
            return _page(found.view, parts.with_contacts(found))
        view = queries.asked(choice)
        query = write_choice(choice).partition("?")[2]
        question = render(
            "calls/ask_contacts",
            title=TITLE,
            view=view,
            address=f"{CONTACTS}?{query}" if query else CONTACTS,
            back=write_choice(choice),
            token=csrf.token(),
        )
        return _page(view, question)

    app.server.add_url_rule(CONTACTS, "call_contacts", contacts, methods=["GET", "POST"])


def _page(view: CallsView, content: Markup) -> Response:
    text = shell.whole("/", view.context, TITLE, content)
    return make_response(text, 200, {"Content-Type": "text/html; charset=utf-8"})
