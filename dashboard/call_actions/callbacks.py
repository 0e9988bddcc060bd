"""How are a recorded call, an arrangement and an undo answered, on any page that has the forms?"""

from __future__ import annotations

from dash import dcc
from dash.development.base_component import Component

from dashboard.call_actions.queries import (
    ARRANGEMENTS,
    CALLS,
    UNDONE,
    ArrangeForm,
    CallActions,
    CallForm,
)
from dashboard.layout import ids
from dashboard.layout.row_tokens import row_behind
from dashboard.security.guard import Guard, changed_by
from dashboard.security.roles import Page
from dashboard.session.forms import RowForm
from dashboard.session.session import Session


def stores(prefix: str = "") -> list[Component]:
    """What the forms of a page are sent by; `prefix` tells one page's from another's."""
    names = (ids.RECORD, ids.ARRANGE, ids.UNDO_CALL, ids.UNDO_ARRANGEMENT)
    return [dcc.Store(id=f"{prefix}{name}") for name in names]


def register_actions(guard: Guard, fault: str, prefix: str = "") -> None:
    """Register what the forms and buttons of a page do; `fault`: where it shows what is wrong."""

    @guard.action(Page.CALLS, f"{prefix}{ids.RECORD}", ids.CHANGED, fault)
    def record(session: Session, given: object, before: object) -> tuple[object, str]:
        form = CallForm.of(given)
        message = CallActions(session).record_call(form)
        return changed_by(before, message, family=str(form.family_id), can_undo=True), ""

    @guard.action(Page.CALLS, f"{prefix}{ids.ARRANGE}", ids.CHANGED, fault)
    def arrange(session: Session, given: object, before: object) -> tuple[object, str]:
        form = ArrangeForm.of(given)
        message = CallActions(session).arrange(form)
        return changed_by(before, message, family=str(form.family_id), can_undo=True), ""

    _undo(guard, f"{prefix}{ids.UNDO_CALL}", fault, CALLS)
    _undo(guard, f"{prefix}{ids.UNDO_ARRANGEMENT}", fault, ARRANGEMENTS)


def _undo(guard: Guard, store: str, fault: str, of: str) -> None:
    @guard.action(Page.CALLS, store, ids.CHANGED, fault)
    def undo(session: Session, given: object, before: object) -> tuple[object, str]:
        family_id = CallActions(session).undo(row_behind(RowForm.of(given).row, of), of)
        message = UNDONE[of].format(family_id)
        return changed_by(before, message, family=family_id, can_undo=False), ""
