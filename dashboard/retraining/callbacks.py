"""What changes on the educator's page while it is open?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.addresses.retraining import NeedsChoice, read_needs, read_session, write_needs
from dashboard.changes.callbacks import register_changes
from dashboard.changes.queries.needs import changes_of_needs
from dashboard.layout import ids
from dashboard.layout.row_tokens import row_behind
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
from dashboard.security.guard import Guard, changed_by
from dashboard.security.roles import Page, Right
from dashboard.session.forms import RowForm
from dashboard.session.session import Session


def register(guard: Guard) -> None:
    """Register the callbacks of the page."""
    register_changes(
        guard, Page.RETRAINING, lambda session, _: changes_of_needs(session, marks=True)
    )

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
        choice = _read(session, search, pathname, changed)
        view = queries.needs(choice)
        old = before if isinstance(before, dict) else {}
        count = _count(changed)
        is_new = count is not None and count != old.get("changed")
        message = changed.get("message") if is_new else None
        key = _asked_or_before(view, choice, old, stays=is_new)
        panel: object = no_update
        fault: object = no_update
        if is_new or key != _known(old):  # what is typed in the form stays
            panel, key = panel_part(queries, view, key, message)
            fault = ""
        now = opened_data(key, count)
        sessions = queries.dated()
        head = list_head(queries, view, sessions)
        rows = list_part(queries, view, key, sessions)
        return head, rows, panel, fault, now, split_class(choice)

    _register_bodies(guard)
    _register_marking(guard)


def _register_bodies(guard: Guard) -> None:
    """The parts that are kept while nothing changes that they depend on."""

    def body(part: str, shown: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
        return guard.callback(
            Page.RETRAINING,
            Output(part, "children"),
            Output(shown, "data"),
            Input(ids.URL, "search"),
            Input(ids.CHANGED, "data"),
            State(shown, "data"),
            State(ids.URL, "pathname"),
        )

    def name_of(choice: NeedsChoice, changed: Any, before: Any) -> str:
        name = f"{write_needs(choice)} {_count(changed)}"
        if name == before:
            raise PreventUpdate
        return name

    @body(ids.NEEDS_BODY, ids.NEEDS_SHOWN)
    def show_rest(
        session: Session, search: str | None, changed: Any, before: Any, pathname: str
    ) -> tuple[object, ...]:
        queries = RetrainingQueries(session)
        choice = _of_body(queries.needs(_read(session, search, pathname, changed)).choice)
        name = name_of(choice, changed, before)
        sessions = queries.dated()
        asked = (PATH, choice, session.context().reader.may(Right.LANGUAGE), sessions)
        rest = session.cached(asked, lambda: serialised(rest_part(queries, choice, sessions)))
        return rest, name

    @body(ids.HELPED_BODY, ids.HELPED_SHOWN)
    def show_helped(
        session: Session, search: str | None, changed: Any, before: Any, pathname: str
    ) -> tuple[object, ...]:
        queries = RetrainingQueries(session)
        choice = NeedsChoice(curve=_read(session, search, pathname, changed).curve)
        name = name_of(choice, changed, before)
        view = queries.helped(choice)
        asked = (PATH, "helped", view.curve)
        return session.cached(asked, lambda: serialised(effects_part(view))), name


def _register_marking(guard: Guard) -> None:
    @guard.action(Page.RETRAINING, ids.MARK_REFRESHER, ids.CHANGED, ids.NEED_FAULT)
    def mark(session: Session, given: object, before: object) -> tuple[object, str]:
        message = RetrainingQueries(session).mark_refresher(RefresherForm.of(given))
        return changed_by(before, message), ""

    @guard.action(Page.RETRAINING, ids.UNMARK_REFRESHER, ids.CHANGED, ids.NEED_FAULT)
    def undo(session: Session, given: object, before: object) -> tuple[object, str]:
        row = row_behind(RowForm.of(given).row, "sign_offs")
        family_id = RetrainingQueries(session).undo_refresher(row)
        return changed_by(before, f"The refresher in family {family_id} is undone."), ""


def _read(session: Session, search: str | None, pathname: str, changed: object) -> NeedsChoice:
    """The choice in the address; no answer on another page or on the sheet of a session."""
    if pathname != PATH or read_session(search) is not None:
        raise PreventUpdate
    if _count(changed) is not None:  # what this reader stored a moment ago has to show
        session.refresh()
    return read_needs(search)


def _count(changed: Any) -> object:
    """How often something was changed since the page was opened; None: never."""
    return changed.get("count") if isinstance(changed, dict) else None


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
