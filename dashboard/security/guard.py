"""How does a callback answer only to a person who may ask it?"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from dash import Dash, Input, Output, State, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.security.roles import Page
from dashboard.security.sign_in import session_of_request, signed_in
from dashboard.session.forms import FormError
from dashboard.session.service import Service
from dashboard.session.session import Session


class Guard:
    """Registers callbacks that get the session of the request as their first argument.

    There is no other way to a session, so that a callback cannot answer to nobody.
    """

    def __init__(self, app: Dash, service: Service) -> None:
        self._app = app
        self._service = service

    def callback(
        self, page: Page | None, *parts: Any, **options: Any
    ) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
        """Register a callback of a page; the rest is as in Dash's own `callback`.

        Parameters
        ----------
        page : Page or None
            The page whose readers it answers to; None: it answers to everybody signed in, and
            looks itself at which page is asked for.

        Returns
        -------
        callable
            Decorator. `NotAllowedError` is raised instead of an answer to anybody else.
        """

        def register(function: Callable[..., Any]) -> Callable[..., Any]:
            @wraps(function)
            def answer(*given: Any) -> Any:
                reader = signed_in()
                if page is not None:
                    reader.must_open(page)
                return function(session_of_request(self._service), *given)

            answer.guarded_for = page  # type: ignore[attr-defined]
            self._app.callback(*parts, **options)(answer)
            return answer

        return register

    def action(
        self, page: Page, asked: str, changed: str, message: str
    ) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
        """Register what a form or button of a page does.

        Parameters
        ----------
        page : Page
            As in `callback`.
        asked, changed, message : str
            Ids: of the data that the form sends, of the data that tell the page what changed, and
            of the place for a sentence on what is wrong.

        Returns
        -------
        callable
            Decorator of a function of session, form and the data before, which returns the new
            data and a sentence. A `FormError` becomes the sentence, which the page's script moves
            next to the field it is about, and nothing changes.
        """

        def register(function: Callable[..., Any]) -> Callable[..., Any]:
            @self.callback(
                page,
                Output(changed, "data", allow_duplicate=True),
                Output(message, "children", allow_duplicate=True),
                Input(asked, "data"),
                State(changed, "data"),
                prevent_initial_call=True,
            )
            def act(session: Session, given: object, before: object) -> Any:
                if given is None:
                    raise PreventUpdate
                try:
                    return function(session, given, before)
                except FormError as fault:
                    return no_update, _shown(fault, given)

            return act

        return register


def _shown(fault: FormError, given: object) -> html.Span:
    """The sentence, and the field it is about; `data-sent` differs each time a form is sent."""
    sent = given.get("at") if isinstance(given, dict) else None
    about = {
        "data-field": fault.field or "",
        "data-value": fault.value or "",
        "data-sent": str(sent),
    }
    return html.Span(str(fault), **about)  # type: ignore[arg-type]  # attributes with a dash


def changed_by(before: object, message: str, **more: object) -> dict[str, object]:
    """What a page is updated by: a count that grows, the sentence to show, and more."""
    count = before.get("count", 0) if isinstance(before, dict) else 0
    return {"count": int(count) + 1, "message": message, **more}
