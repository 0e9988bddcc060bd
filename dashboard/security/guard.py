"""How does a callback answer only to a person who may ask it?"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from dash import Dash

from dashboard.security.roles import Page
from dashboard.security.sign_in import session_of_request, signed_in
from dashboard.session.service import Service


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
