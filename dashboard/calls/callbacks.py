"""What changes on the call list while it is open?"""

from __future__ import annotations

from typing import Any

from dash import Input, Output, State, ctx, no_update
from dash.exceptions import PreventUpdate

from dashboard.addresses.calls import Choice, lasting_query, read_choice
from dashboard.call_actions.callbacks import register_actions
from dashboard.call_actions.queries import state_of
from dashboard.call_actions.views import News
from dashboard.call_actions.words import recorded_meanwhile
from dashboard.calls.layout import (
    PATH,
    flag_rows,
    list_head,
    list_part,
    opened_first,
    panel_part,
    split_class,
)
from dashboard.calls.queries import CallsQueries
from dashboard.calls.views import CallsView
from dashboard.calls.words import announcement, new_red_flags
from dashboard.changes.callbacks import register_changes
from dashboard.changes.parts import changes_part
from dashboard.layout import ids
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.session.session import Session


def register(guard: Guard) -> None:
    """Register the callbacks of the call list."""
    _show_list(guard)
    register_actions(guard, ids.PANEL_FAULT)
    register_changes(
        guard,
        Page.CALLS,
        lambda session, search: CallsQueries(session).changes(read_choice(search), marks=True),
    )
    _export(guard)


def _show_list(guard: Guard) -> None:
    @guard.callback(
        Page.CALLS,
        Output(ids.CALLS_HEAD, "children"),
        Output(ids.CALLS_LIST, "children"),
        Output(ids.CALLS_ANNOUNCED, "children"),
        Output(f"{ids.CHANGES}{Page.CALLS}", "children"),
        Output(ids.PANEL, "children"),
        Output(ids.PANEL_OTHERS, "children"),
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
        looked: object,
        before: object,
        pathname: str,
    ) -> tuple[object, ...]:
        queries = CallsQueries(session)
        if pathname != PATH:
            raise PreventUpdate
        choice = read_choice(search)
        if _is_new(changed, before):  # what this reader recorded a moment ago has to show
            session.refresh()
        if ctx.triggered_id == ids.URL:
            session.keep_choice(PATH, lasting_query(choice))
        by_itself = ctx.triggered_id == ids.LOOKED
        is_there = not by_itself or (isinstance(looked, dict) and bool(looked.get("there")))
        view = queries.calls(choice)
        family, news = _stays_open(choice, view, search, changed, before)
        old = before if isinstance(before, dict) else {}
        flags = queries.red_flags(view.choice)
        now = {
            "family": family,
            "search": search,
            "changed": changed,
            "list": view.state,
            "flags": flag_rows(flags),
        }
        rows: tuple[object, ...] = (no_update, no_update, no_update, no_update)
        if not by_itself or view.state != old.get("list"):
            shown_before = old.get("flags") if by_itself else None
            rows = (
                list_head(queries, view.choice),
                list_part(queries, view.choice, family),
                new_red_flags(flags, shown_before) or announcement(view),
                changes_part(queries.changes(view.choice, looks=is_there), Page.CALLS),
            )
        if news is None and family is not None and old.get("family") == family:
            typed = not by_itself or (isinstance(looked, dict) and bool(looked.get("typed")))
            others = _others(queries, family, old.get("acts"), typed=typed)
            if others is not None:  # the panel stays, and what is typed in its form
                now["acts"] = old.get("acts")
                return *rows, no_update, others, no_update, now, split_class(choice, news)
        panel = panel_part(queries, choice, family, news, by_itself=by_itself)
        now["acts"] = panel.state
        return *rows, panel.part, panel.others, "", now, split_class(choice, news)


def _others(queries: CallsQueries, family_id: str, shown: object, *, typed: bool) -> str | None:
    """What others do with the family that is open; None: the panel has to be made again.

    Parameters
    ----------
    queries : CallsQueries
        Of this request.
    family_id : str
        The family.
    shown : object
        State of what was recorded of it when the panel was made.
    typed : bool
        Something may be typed in the panel's form, so that the panel stays.
    """
    acts = queries.recorded(family_id)
    if acts is None or (state_of(acts) != shown and not typed):
        return None
    return acts.others if state_of(acts) == shown else recorded_meanwhile(acts)


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
