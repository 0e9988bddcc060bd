"""Which family and caregiver needs retraining on which step, and how sure is that?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.addresses.retraining import (
    NeedsChoice,
    SessionName,
    read_needs,
    read_session,
    write_needs,
)
from dashboard.layout import frame as shell
from dashboard.layout import ids, words
from dashboard.layout.attributes import aria, in_page
from dashboard.layout.choosing import choice as choose
from dashboard.layout.drawn import drawn
from dashboard.layout.static import static
from dashboard.retraining import words as need_words
from dashboard.retraining.effect_cards import effect_card, learning_card
from dashboard.retraining.need_list import need_address, need_table, pager
from dashboard.retraining.need_panel import need_panel
from dashboard.retraining.needs_cards import picture_card, skills_card
from dashboard.retraining.queries.refreshers import RefresherForm
from dashboard.retraining.session_sheet import session_sheet, sessions_card
from dashboard.retraining.views import HelpedView, NeedsView
from dashboard.security.guard import Guard
from dashboard.security.roles import Page, Right
from dashboard.session.door import Queries
from dashboard.session.forms import FormError

PATH = "/retraining"
TITLE = "Retraining"
SHOWN = (("likely", "probably above the limit"), ("all", "whatever was missed"))
WAITING = "Working out the rest of the page."
Key = tuple[str, str | None, str]


def layout(queries: Queries, search: str | None) -> list[Component]:
    """The page as it stands under the choice in its address."""
    session = read_session(search)
    if session is not None:
        return _sheet(queries, session)
    choice = read_needs(search)
    view = queries.needs(choice)
    panel, key = _panel(queries, view, choice.opened, None)
    return shell.page(
        PATH,
        queries.standing(),
        [
            dcc.Store(id=ids.NEED_OPENED, data=_opened(key, None)),
            dcc.Store(id=ids.NEEDS_DRAWN),
            dcc.Store(id=ids.HELPED_DRAWN),
            dcc.Store(id=ids.MARK_REFRESHER),
            dcc.Store(id=ids.UNMARK_REFRESHER),
            html.Div(
                [
                    html.H1(TITLE),
                    html.Section(
                        [
                            html.Div(_head(view), id=ids.NEEDS_HEAD),
                            html.Div(_list(queries, view, key), id=ids.NEEDS_LIST),
                        ],
                        className="list",
                        **aria(label="Who needs retraining"),
                    ),
                    html.Section(
                        [
                            html.Div(panel, id=ids.NEED_PANEL),
                            html.P("", id=ids.NEED_FAULT, role="alert", className="fault"),
                        ],
                        className="panel",
                        **aria(label="Opened need"),
                    ),
                ],
                className=_split_class(choice),
                id=ids.NEEDS_SPLIT,
            ),
            html.Div(
                html.P(WAITING, className="empty", role="status"),
                id=ids.NEEDS_BODY,
                className="cards",
            ),
            html.Div(id=ids.HELPED_BODY, className="cards"),
        ],
    )


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
        queries: Queries, search: str | None, changed: Any, before: Any, pathname: str
    ) -> tuple[object, ...]:
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
            panel, key = _panel(queries, view, key, told)
            fault = ""
        now = _opened(key, count)
        head, rows = _head(view), _list(queries, view, key)
        return head, rows, panel, fault, now, _split_class(choice)

    @guard.callback(
        Page.RETRAINING,
        Output(ids.NEEDS_BODY, "children"),
        Output(ids.NEEDS_DRAWN, "data"),
        Input(ids.URL, "search"),
        Input(ids.CHANGED, "data"),
        State(ids.NEEDS_DRAWN, "data"),
        State(ids.URL, "pathname"),
    )
    def show_rest(
        queries: Queries, search: str | None, changed: Any, before: Any, pathname: str
    ) -> tuple[object, ...]:
        if pathname != PATH or read_session(search) is not None:
            raise PreventUpdate
        choice = _of_body(queries.needs(read_needs(search)).choice)
        name = f"{write_needs(choice)} {_count(changed)}"
        if name == before:
            raise PreventUpdate
        asked = (PATH, choice, queries.standing().reader.may(Right.LANGUAGE))
        return queries.once(asked, lambda: drawn(_body(queries, choice))), name

    _register_helped(guard)
    _register_marking(guard)


def _register_helped(guard: Guard) -> None:
    @guard.callback(
        Page.RETRAINING,
        Output(ids.HELPED_BODY, "children"),
        Output(ids.HELPED_DRAWN, "data"),
        Input(ids.URL, "search"),
        Input(ids.CHANGED, "data"),
        State(ids.HELPED_DRAWN, "data"),
        State(ids.URL, "pathname"),
    )
    def show_helped(
        queries: Queries, search: str | None, changed: Any, before: Any, pathname: str
    ) -> tuple[object, ...]:
        if pathname != PATH or read_session(search) is not None:
            raise PreventUpdate
        choice = NeedsChoice(curve=read_needs(search).curve)
        name = f"{write_needs(choice)} {_count(changed)}"
        if name == before:
            raise PreventUpdate
        view = queries.helped(choice)
        asked = (PATH, "helped", view.curve)
        return queries.once(asked, lambda: drawn(_helped(view))), name


def _helped(view: HelpedView) -> Component:
    return html.Div([effect_card(view), learning_card(view)])


def _register_marking(guard: Guard) -> None:
    @guard.callback(
        Page.RETRAINING,
        Output(ids.CHANGED, "data", allow_duplicate=True),
        Output(ids.NEED_FAULT, "children", allow_duplicate=True),
        Input(ids.MARK_REFRESHER, "data"),
        State(ids.CHANGED, "data"),
        prevent_initial_call=True,
    )
    def mark(queries: Queries, given: object, changed: object) -> tuple[object, str]:
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
    def take_back(queries: Queries, asked: Any, changed: object) -> tuple[object, str]:
        if not isinstance(asked, dict):
            raise PreventUpdate
        try:
            family_id = queries.take_back_refresher(asked.get("row"))
        except FormError as fault:
            return no_update, str(fault)
        return _changed(changed, f"The refresher in family {family_id} is taken back."), ""


def _count(changed: Any) -> object:
    """How often something was changed since the page was opened; None: never."""
    return changed.get("count") if isinstance(changed, dict) else None


def _changed(before: object, message: str) -> dict[str, object]:
    """What the page is drawn anew by: a count that grows, and what to say."""
    count = before.get("count", 0) if isinstance(before, dict) else 0
    return {"count": int(count) + 1, "message": message}


def _sheet(queries: Queries, name: SessionName) -> list[Component]:
    """The sheet of one session instead of the page."""
    view, standing = queries.sheet(name), queries.standing()
    if view is None:
        return shell.not_found(
            standing,
            "No such session is planned on this day. Choose one on the page of retraining.",
        )
    return shell.page(PATH, standing, [session_sheet(view, standing.as_of)])


def _of_body(choice: NeedsChoice) -> NeedsChoice:
    """What of a choice the lower part of the page hangs on."""
    return NeedsChoice(
        site=choice.site, skill=choice.skill, together=choice.together, size=choice.size
    )


# The list


def _asked_or_before(
    view: NeedsView, choice: NeedsChoice, old: dict[str, Any], *, stays: bool
) -> Key | None:
    """The row to open: the one asked for, after a change the one that stood, else the first."""
    if choice.family_id is not None:
        return choice.family_id, choice.caregiver_id, choice.need or ""
    before = _known(old) if stays else None
    return before or (view.rows[0].key if view.rows else None)


def _known(old: dict[str, Any]) -> Key | None:
    """The row that stands open, as the page remembers it; looked up anew like any other."""
    key = old.get("key")
    return (key[0], key[1], key[2]) if isinstance(key, list) and len(key) == 3 else None


def _opened(key: Key | None, count: object) -> dict[str, object]:
    return {"key": None if key is None else list(key), "changed": count}


def _split_class(choice: NeedsChoice) -> str:
    """On a narrow screen the panel takes the list's place once a row was asked for."""
    return "split asked" if choice.family_id else "split"


def _head(view: NeedsView) -> Component:
    return static(
        html.P(_answer(view), className="answer"),
        html.P(need_words.heard_of(view), className="coverage"),
        html.P(need_words.SHRINKAGE_NOTE, className="order-in-use"),
        _tools(view),
    )


def _answer(view: NeedsView) -> list[Any]:
    """The page's answer: who first, which step, why, how sure."""
    first = view.first
    if first is None:
        missed = sum(view.counts.values())
        none = "Nobody probably misses a step more often than its limit."
        if not missed or view.choice.show == "all":
            return [none]
        to = write_needs(replace(view.choice, show="all", page=1, family_id=None))
        return [f"{none} ", html.A("Show whatever was missed", href=to, **in_page())]
    missed_words = need_words.missed_words(first.step, first.missed, first.seen)
    likely = view.counts["sure"] + view.counts["likely"]
    return [
        "First: ",
        html.A(
            f"family {first.family_id}, {need_words.who(first)}",
            href=need_address(view, first),
            **in_page(opens=True),
        ),
        f". {words.sentence(first.step_name)[:-1]}: {missed_words}, {need_words.how_sure(first)}. ",
        html.Span(
            f"{words.counted(likely, 'caregiver and step is', 'caregivers and steps are')} "
            "probably above the limit.",
            className="rest",
        ),
    ]


def _tools(view: NeedsView) -> Component:
    choice = view.choice
    steps = (("", "All steps"), *view.steps)
    sites = (("", "All sites"), *((s, s) for s in view.sites))
    per_page = tuple((str(n), str(n)) for n in words.PER_PAGE)
    return html.Div(
        [
            choose("Show", "show", SHOWN, choice.show),
            choose("Step", "step", steps, choice.step or ""),
            choose("Site", "site", sites, choice.site or ""),
            choose("Rows", "rows", per_page, str(choice.per_page)),
            html.P(
                [
                    html.Kbd("↓"),
                    html.Kbd("↑"),
                    " move, ",
                    html.Kbd("Enter"),
                    " opens, ",
                    html.Kbd("Esc"),
                    " back to the list",
                ],
                className="keys",
            ),
        ],
        className="tools",
    )


def _list(queries: Queries, view: NeedsView, key: Key | None) -> Component:
    if not view.rows:
        return static(html.P("Nothing stands in this part of the list.", className="empty"))
    return static(need_table(view, queries.standing().as_of, key), pager(view))


def _panel(
    queries: Queries,
    view: NeedsView,
    asked: tuple[str, str | None, str | None] | None,
    message: str | None,
) -> tuple[Component, Key | None]:
    """What is shown of the row asked for, else of the first of the page, and which that is."""
    wanted = asked or (view.rows[0].key if view.rows else None)
    if wanted is None:
        return static(html.P("No row is opened.", className="empty")), None
    opened = queries.need(*wanted)
    if opened is None:
        return static(
            html.H2("Nothing missed"),
            html.P("Nothing that was missed is known of a family with this code."),
        ), None
    return need_panel(opened, view.choice, message), opened.row.key


# The rest of the page


def _body(queries: Queries, choice: NeedsChoice) -> Component:
    return html.Div(
        [
            sessions_card(queries.sessions(choice)),
            picture_card(queries.picture(choice)),
            skills_card(queries.skills(choice)),
        ]
    )
