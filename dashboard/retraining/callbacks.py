"""What changes on the educator's page while it is open?"""

from __future__ import annotations

from typing import Any

from dash import Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.addresses.retraining import (
    NeedsChoice,
    read_needs,
    read_session,
    write_needs,
)
from dashboard.layout import ids
from dashboard.layout.serialised import serialised
from dashboard.retraining.layout import (
    PATH,
    Key,
    effects_part,
    list_head,
    list_part,
    opened_data,
    panel_part,
    rest_part,
    split_class,
)
from dashboard.retraining.queries import RetrainingQueries
from dashboard.retraining.queries.refreshers import RefresherForm
from dashboard.retraining.views import NeedsView
from dashboard.security.guard import Guard
from dashboard.security.roles import Page, Right
from dashboard.session.forms import FormError
from dashboard.session.session import Session


def register(guard: Guard) -> None:
    """Register the callbacks of the page."""

    @guard.callback(
        Page.RETRAINING,
        Output(ids.NEEDS_HEAD, "children"),
        Output(ids.NEEDS_LIST, "children"),
        Output(ids.NEED_PANEL, "children"),
        Output(ids.NEED_FAULT, "children"),
        Output(ids.NEED_OPENED, "data"),
        Output(ids.NEEDS_SPLIT, "className"),
        Input(ids.URL, "search"),
        Input(ids.CHANGED, "data"),
        State(ids.NEED_OPENED, "data"),
        State(ids.URL, "pathname"),
        prevent_initial_call=True,
    )
    def show(
        session: Session, search: str | None, changed: Any, before: Any, pathname: str
    ) -> tuple[object, ...]:
        queries = RetrainingQueries(session)
        if pathname != PATH or read_session(search) is not None:
            raise PreventUpdate
        choice = read_needs(search)
        view = queries.needs(choice)
        old = before if isinstance(before, dict) else {}
        count, told = _count(changed), None
        is_new = count is not None and count != old.get("changed")
        if is_new:
            told = changed.get("message")
        key = _asked_or_before(view, choice, old, stays=is_new)
        panel: object = no_update
        fault: object = no_update
        if is_new or key != _known(old):  # what is typed in the form stays
            panel, key = panel_part(queries, view, key, told)
            fault = ""
        now = opened_data(key, count)
        head, rows = list_head(view), list_part(queries, view, key)
        return head, rows, panel, fault, now, split_class(choice)

    @guard.callback(
        Page.RETRAINING,
        Output(ids.NEEDS_BODY, "children"),
        Output(ids.NEEDS_SHOWN, "data"),
        Input(ids.URL, "search"),
        Input(ids.CHANGED, "data"),
        State(ids.NEEDS_SHOWN, "data"),
        State(ids.URL, "pathname"),
    )
    def show_rest(
        session: Session, search: str | None, changed: Any, before: Any, pathname: str
    ) -> tuple[object, ...]:
        queries = RetrainingQueries(session)
        if pathname != PATH or read_session(search) is not None:
            raise PreventUpdate
        choice = _of_body(queries.needs(read_needs(search)).choice)
        name = f"{write_needs(choice)} {_count(changed)}"
        if name == before:
            raise PreventUpdate
        asked = (PATH, choice, queries.session.context().reader.may(Right.LANGUAGE))
        return queries.session.cached(asked, lambda: serialised(rest_part(queries, choice))), name

    _register_helped(guard)
    _register_marking(guard)


def _register_helped(guard: Guard) -> None:
    @guard.callback(
        Page.RETRAINING,
        Output(ids.HELPED_BODY, "children"),
        Output(ids.HELPED_SHOWN, "data"),
        Input(ids.URL, "search"),
        Input(ids.CHANGED, "data"),
        State(ids.HELPED_SHOWN, "data"),
        State(ids.URL, "pathname"),
    )
    def show_helped(
        session: Session, search: str | None, changed: Any, before: Any, pathname: str
    ) -> tuple[object, ...]:
        queries = RetrainingQueries(session)
        if pathname != PATH or read_session(search) is not None:
            raise PreventUpdate
        choice = NeedsChoice(curve=read_needs(search).curve)
        name = f"{write_needs(choice)} {_count(changed)}"
        if name == before:
            raise PreventUpdate
        view = queries.helped(choice)
        asked = (PATH, "helped", view.curve)
        return queries.session.cached(asked, lambda: serialised(effects_part(view))), name


def _register_marking(guard: Guard) -> None:
    @guard.callback(
        Page.RETRAINING,
        Output(ids.CHANGED, "data", allow_duplicate=True),
        Output(ids.NEED_FAULT, "children", allow_duplicate=True),
        Input(ids.MARK_REFRESHER, "data"),
        State(ids.CHANGED, "data"),
        prevent_initial_call=True,
    )
    def mark(session: Session, given: object, changed: object) -> tuple[object, str]:
        queries = RetrainingQueries(session)
        if given is None:
            raise PreventUpdate
        try:
            said = queries.mark_refresher(RefresherForm.of(given))
        except FormError as fault:
            return no_update, str(fault)
        return _changed(changed, said), ""

    @guard.callback(
        Page.RETRAINING,
        Output(ids.CHANGED, "data", allow_duplicate=True),
        Output(ids.NEED_FAULT, "children", allow_duplicate=True),
        Input(ids.UNMARK_REFRESHER, "data"),
        State(ids.CHANGED, "data"),
        prevent_initial_call=True,
    )
    def undo(session: Session, asked: Any, changed: object) -> tuple[object, str]:
        queries = RetrainingQueries(session)
        if not isinstance(asked, dict):
            raise PreventUpdate
        try:
            family_id = queries.undo_refresher(asked.get("row"))
        except FormError as fault:
            return no_update, str(fault)
        return _changed(changed, f"The refresher in family {family_id} is undone."), ""


def _count(changed: Any) -> object:
    """How often something was changed since the page was opened; None: never."""
    return changed.get("count") if isinstance(changed, dict) else None


def _changed(before: object, message: str) -> dict[str, object]:
    """What the page is updated by: a count that grows, and what to say."""
    count = before.get("count", 0) if isinstance(before, dict) else 0
    return {"count": int(count) + 1, "message": message}


def _of_body(choice: NeedsChoice) -> NeedsChoice:
    """What of a choice the lower part of the page hangs on."""
    return NeedsChoice(
        site=choice.site, skill=choice.skill, together=choice.together, size=choice.size
    )


def _asked_or_before(
    view: NeedsView, choice: NeedsChoice, old: dict[str, Any], *, stays: bool
) -> Key | None:
    """The row to open: the one asked for, after a change the one before, else the first."""
    if choice.family_id is not None:
        return choice.family_id, choice.caregiver_id, choice.need or ""
    before = _known(old) if stays else None
    return before or (view.rows[0].key if view.rows else None)


def _known(old: dict[str, Any]) -> Key | None:
    """The row that is open, as the page remembers it; looked up again like any other."""
    key = old.get("key")
    return (key[0], key[1], key[2]) if isinstance(key, list) and len(key) == 3 else None
