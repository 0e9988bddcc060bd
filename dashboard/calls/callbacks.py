"""What changes on the call list while it is open?"""

from __future__ import annotations

from typing import Any

from dash import Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.addresses.calls import Choice, read_choice
from dashboard.call_actions.callbacks import register_actions
from dashboard.call_actions.views import News
from dashboard.calls.layout import PATH, list_head, list_part, opened_first, panel_part, split_class
from dashboard.calls.queries import CallsQueries
from dashboard.calls.views import CallsView
from dashboard.calls.words import announcement
from dashboard.layout import ids
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.session.session import Session


def register(guard: Guard) -> None:
    """Register the callbacks of the call list."""
    _show_list(guard)
    register_actions(guard, ids.PANEL_FAULT)
    _export(guard)


def _show_list(guard: Guard) -> None:
    @guard.callback(
        Page.CALLS,
        Output(ids.CALLS_HEAD, "children"),
        Output(ids.CALLS_LIST, "children"),
        Output(ids.CALLS_ANNOUNCED, "children"),
        Output(ids.PANEL, "children"),
        Output(ids.PANEL_FAULT, "children"),
        Output(ids.OPENED, "data"),
        Output(ids.SPLIT, "className"),
        Input(ids.URL, "search"),
        Input(ids.CHANGED, "data"),
        Input(ids.LOOKED, "data"),
        State(ids.OPENED, "data"),
        State(ids.URL, "pathname"),
        prevent_initial_call=True,
    )
    def show(
        session: Session,
        search: str | None,
        changed: object,
        looked: object,  # noqa: ARG001 - only asks for the list again
        before: object,
        pathname: str,
    ) -> tuple[object, ...]:
        queries = CallsQueries(session)
        if pathname != PATH:
            raise PreventUpdate
        choice = read_choice(search)
        if _is_new(changed, before):  # what this reader recorded a moment ago has to show
            session.refresh()
        view = queries.calls(choice)
        family, news = _stays_open(choice, view, search, changed, before)
        now = {"family": family, "search": search, "changed": changed}
        head, rows, aloud = (
            list_head(queries, view.choice),
            list_part(queries, view.choice, family),
            announcement(view),
        )
        asked = split_class(choice, news)
        if news is None and _family_in(before) == family:  # what is typed in the form stays
            return head, rows, aloud, no_update, no_update, now, asked
        return head, rows, aloud, panel_part(queries, choice, family, news), "", now, asked


def _export(guard: Guard) -> None:
    @guard.callback(
        Page.CALLS,
        Output(ids.DOWNLOAD, "data"),
        Input(ids.EXPORT_LIST, "data"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    def export(session: Session, asked: object, search: str | None) -> dict[str, object]:
        queries = CallsQueries(session)
        if asked is None:
            raise PreventUpdate
        name, text = queries.calls_table(read_choice(search))
        return {"content": text, "filename": name, "type": "text/csv", "base64": False}


def _stays_open(
    choice: Choice, view: CallsView, search: str | None, changed: Any, before: Any
) -> tuple[str | None, News | None]:
    """Which family the panel shows now, and the message about what was just done.

    The reader's own choice comes first, then the family a call was just recorded for, then
    the one open before under the same address, then the first of the list.
    """
    old = before if isinstance(before, dict) else {}
    news = changed if _is_new(changed, before) else {}
    family = choice.family_id or news.get("family")
    if family is None and old.get("search") == search:
        family = old.get("family")
    message = None
    if isinstance(news.get("message"), str):
        message = News(news["message"], can_undo=bool(news.get("can_undo")))
    return family or opened_first(choice, view), message


def _is_new(changed: Any, before: Any) -> bool:
    """Whether something was recorded since the page was last made."""
    old = before if isinstance(before, dict) else {}
    return isinstance(changed, dict) and changed != old.get("changed")


def _family_in(opened: Any) -> str | None:
    return opened.get("family") if isinstance(opened, dict) else None
