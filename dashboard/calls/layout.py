"""Which families to call today, in what order, and why? The call list and its panel."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from dash import dcc, html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.addresses.calls import Choice, read_choice
from dashboard.call_actions.callbacks import stores
from dashboard.call_actions.queries import state_of
from dashboard.call_actions.views import News
from dashboard.calls import parts
from dashboard.calls.queries import CallsQueries
from dashboard.calls.views import CallsView
from dashboard.changes.parts import changes_place
from dashboard.layout import frame as shell
from dashboard.layout import ids, words
from dashboard.layout.attributes import aria
from dashboard.layout.filled import PLACE, filled
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import shown
from dashboard.security.roles import Page
from dashboard.session.session import Session

PATH = "/"
Answer = TypeVar("Answer")


def title(session: Session) -> str:
    """Title of the page in the browser."""
    return f"Calls for {words.long_day(session.context().as_of)}"


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address."""
    queries = CallsQueries(session)
    choice = read_choice(search)
    view = queries.calls(choice)
    opened = opened_first(choice, view)
    panel = panel_part(queries, choice, opened, None)
    return shell.page(
        PATH,
        view.context,
        [
            *stores(),
            dcc.Store(id=ids.EXPORT_LIST),
            dcc.Download(id=ids.DOWNLOAD),
            dcc.Store(
                id=ids.OPENED,
                data={
                    "family": opened,
                    "search": search,
                    "changed": 0,
                    "list": view.state,
                    "acts": panel.state,
                    "flags": flag_rows(queries.red_flags(choice)),
                },
            ),
            html.Div(
                [
                    html.Div(
                        [
                            html.H1(f"Calls for {words.long_day(view.context.as_of)}"),
                            changes_place(queries.changes(choice), Page.CALLS),
                        ],
                        className="titled",
                    ),
                    html.Section(
                        [
                            html.Div(list_head(queries, view.choice), id=ids.CALLS_HEAD),
                            html.Div(list_part(queries, view.choice, opened), id=ids.CALLS_LIST),
                            html.P("", id=ids.CALLS_ANNOUNCED, role="status", className="unseen"),
                        ],
                        className="list",
                        **aria(label="Call list"),
                    ),
                    html.Section(
                        [
                            html.P(
                                panel.others, id=ids.PANEL_OTHERS, role="status", className="others"
                            ),
                            html.Div(panel.part, id=ids.PANEL),
                            html.P("", id=ids.PANEL_FAULT, role="alert", className="fault"),
                        ],
                        className="panel",
                        **aria(label="Open family"),
                    ),
                ],
                className=split_class(choice),
                id=ids.SPLIT,
            ),
        ],
    )


def flag_rows(flags: Mapping[str, tuple[int, str]]) -> dict[str, int]:
    """The newest log entry of each red flag that is shown, so that a newer one is noticed."""
    return {family: row for family, (row, _) in flags.items()}


def opened_first(choice: Choice, view: CallsView) -> str | None:
    """The family the reader opened, else the first one on the page."""
    if choice.family_id is not None:
        return choice.family_id
    return view.rows[0].family_id if view.rows else None


def list_head(queries: CallsQueries, choice: Choice) -> Component:
    """The answer, the bands and the filters of a choice."""
    return _same_for_all(queries, choice, "head", lambda view: serialised(shown(parts.head(view))))


def list_part(queries: CallsQueries, choice: Choice, opened: str | None) -> Component:
    """The rows of a choice, with the families that wait and the calls done below them."""

    def rows(_: CallsView) -> Component:
        view, closed, done = _same_for_all(queries, choice, "list", _list_parts)
        return serialised(shown(parts.rows(view, opened, closed, done)))

    return _same_for_all(queries, choice, ("rows", opened), rows)


def _list_parts(view: CallsView) -> tuple[CallsView, Mapping[str, Markup], Markup]:
    """The list, its rows while they are closed, and the calls done, which nobody opens."""
    return view, parts.closed_rows(view), parts.done(view)


def _same_for_all(
    queries: CallsQueries, choice: Choice, what: Hashable, make: Callable[[CallsView], Answer]
) -> Answer:
    """A part that is the same for all who see the same, made once; `what` names a family that is open."""
    unopened = replace(choice, family_id=None)
    key = (PATH, what, unopened, queries.session.seen_as(), queries.session.reader.caseload)
    return queries.session.cached(key, lambda: make(queries.calls(unopened)))


@dataclass(frozen=True)
class PanelPart:
    """The panel, who else opened its family, and the state of what is recorded of it."""

    part: Component
    others: str
    state: str | None


def panel_part(
    queries: CallsQueries,
    choice: Choice,
    family_id: str | None,
    news: News | None,
    *,
    by_itself: bool = False,
) -> PanelPart:
    """The panel of a family, or that there is none; `by_itself`: nobody asked for it now."""
    opened = None
    if family_id is not None:
        opened = queries.opened(family_id, choice, by_itself=by_itself)
    if opened is None:
        return PanelPart(shown(parts.no_panel(asked=family_id is not None)), "", None)
    session, same = queries.session, replace(opened, form=PLACE)
    part = (
        parts.panel(same, choice, news)
        if news is not None
        else session.cached(
            (PATH, "panel", family_id, choice, session.seen_as(), session.reader.code),
            lambda: parts.panel(same, choice, None),
        )
    )
    return PanelPart(shown(filled(part, opened.form)), opened.others, state_of(opened))


def split_class(choice: Choice, news: News | None = None) -> str:
    """On a narrow screen the panel takes the list's place once it was asked for or has news."""
    return "split asked" if choice.family_id or news else "split"
