"""Which family and caregiver needs retraining on which step, and how sure is that?"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import replace

from dash import dcc, html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.addresses.retraining import (
    NeedsChoice,
    SessionName,
    read_needs,
    read_session,
    write_needs,
)
from dashboard.changes.parts import changes_place
from dashboard.changes.queries.needs import changes_of_needs
from dashboard.layout import frame as shell
from dashboard.layout import ids, words
from dashboard.layout.attributes import aria
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import render, shown, static
from dashboard.retraining import words as need_words
from dashboard.retraining.dated_card import Sessions, dated_card, head_line
from dashboard.retraining.effect_cards import effect_card, learning_card
from dashboard.retraining.need_list import need_address, need_table
from dashboard.retraining.need_panel import need_panel
from dashboard.retraining.needs_cards import picture_card, skills_card
from dashboard.retraining.queries import RetrainingQueries
from dashboard.retraining.session_sheet import session_sheet, sessions_card
from dashboard.retraining.views import HelpedView, NeedsView
from dashboard.security.roles import Page
from dashboard.session.session import Session

PATH = "/retraining"
TITLE = "Retraining"
SHOWN = (
    ("likely", "likely above the limit"),
    ("watching", "recently retrained"),
    ("all", "anything missed"),
)
WAITING = "Calculating the rest of the page …"
Key = tuple[str, str | None, str]


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address."""
    queries = RetrainingQueries(session)
    named = read_session(search)
    if named is not None:
        return sheet_page(queries, named)
    choice = read_needs(search)
    view, sessions = queries.needs(choice), queries.dated()
    panel, key = panel_part(queries, view, choice.opened, None)
    return shell.page(
        PATH,
        queries.session.context(),
        [
            dcc.Store(id=ids.NEED_OPENED, data=opened_data(key, None)),
            dcc.Store(id=ids.NEEDS_SHOWN),
            dcc.Store(id=ids.HELPED_SHOWN),
            dcc.Store(id=ids.MARK_REFRESHER),
            dcc.Store(id=ids.UNMARK_REFRESHER),
            html.Div(
                [
                    html.Div(
                        [
                            html.H1(TITLE),
                            changes_place(changes_of_needs(queries.session), Page.RETRAINING),
                        ],
                        className="titled",
                    ),
                    html.Section(
                        [
                            html.Div(
                                list_head(queries, view, sessions),
                                id=ids.NEEDS_HEAD,
                            ),
                            html.Div(list_part(queries, view, key, sessions), id=ids.NEEDS_LIST),
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
                className=split_class(choice),
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


def effects_part(view: HelpedView) -> Component:
    """Whether refreshers helped, and whether caregivers learn by doing."""
    return html.Div([effect_card(view), learning_card(view)])


def sheet_page(queries: RetrainingQueries, name: SessionName) -> list[Component]:
    """The sheet of one session instead of the page."""
    view, context = queries.sheet(name), queries.session.context()
    if view is None:
        return shell.not_found(
            context, "No such session is planned for this day. Choose one on the retraining page."
        )
    return shell.page(PATH, context, [session_sheet(view, context.as_of)])


def opened_data(key: Key | None, count: object) -> dict[str, object]:
    """What the page remembers of the open row."""
    return {"key": None if key is None else list(key), "changed": count}


def split_class(choice: NeedsChoice) -> str:
    """On a narrow screen the panel takes the list's place once a row was asked for."""
    return "split asked" if choice.family_id else "split"


def list_head(queries: RetrainingQueries, view: NeedsView, sessions: Sessions) -> Component:
    """The answer and the filters of a choice."""

    def head() -> Component:
        as_of, shared = queries.session.context().as_of, queries.sessions(view.choice)
        return static(
            "retraining/head",
            view=view,
            answer=_answer(view),
            sessions=head_line(sessions, as_of, shared),
            coverage=need_words.heard_of(view),
            note=need_words.SHRINKAGE_NOTE,
            shown=SHOWN,
            steps=(("", "All steps"), *view.steps),
            sites=(("", "All sites"), *((s, s) for s in view.sites)),
            per_page=tuple((str(n), str(n)) for n in words.PER_PAGE),
        )

    return _until_written(queries, ("head", view.choice), head)


def _until_written(
    queries: RetrainingQueries, what: Hashable, make: Callable[[], Component]
) -> Component:
    """A part for one person, made once until anybody has written."""
    session = queries.session
    key = (PATH, what, session.seen_as(), session.reader.code)
    return session.cached_until_written(key, lambda: serialised(make()))


def _answer(view: NeedsView) -> Markup:
    """The page's answer: who first, which step, why, how certain."""
    first = view.first
    if first is None:
        to = write_needs(replace(view.choice, show="all", page=1, family_id=None))
        more = sum(view.counts.values()) and view.choice.show != "all"
        return render("retraining/answer", first=None, address=to if more else None)
    missed = need_words.missed_words(first.step, first.missed, first.seen)
    step = words.sentence(first.step_name)[:-1]
    likely = view.counts["sure"] + view.counts["likely"]
    return render(
        "retraining/answer",
        first=first,
        address=need_address(view, first),
        who=need_words.who(first),
        why=f"{step}: {missed}, {need_words.how_sure(first)}.",
        rest=f"{need_words.pairs(likely)} likely {'needs' if likely == 1 else 'need'} retraining.",
    )


def list_part(
    queries: RetrainingQueries, view: NeedsView, key: Key | None, sessions: Sessions
) -> Component:
    """The rows of a choice."""
    if not view.rows:
        return html.P("No caregivers match these filters.", className="empty")
    return _until_written(
        queries,
        ("list", view.choice, key),
        lambda: shown(need_table(view, queries.session.context().as_of, key, sessions)),
    )


def panel_part(
    queries: RetrainingQueries,
    view: NeedsView,
    asked: tuple[str, str | None, str | None] | None,
    message: str | None,
) -> tuple[Component, Key | None]:
    """What is shown of the row asked for, else of the first of the page, and which that is."""
    wanted = asked or (view.rows[0].key if view.rows else None)
    if wanted is None:
        return html.P("Select a row to see details.", className="empty"), None
    opened = queries.need(*wanted, asked_for=view.choice.family_id == wanted[0])
    if opened is None:
        nothing = "Nothing missed is recorded for a family with this code."
        return html.Div([html.H2("Nothing missed"), html.P(nothing)]), None
    if message is not None:
        return need_panel(opened, view.choice, message), opened.row.key
    panel = _until_written(
        queries,
        ("panel", opened.row.key, view.choice),
        lambda: need_panel(opened, view.choice, None),
    )
    return panel, opened.row.key


def rest_part(queries: RetrainingQueries, choice: NeedsChoice, sessions: Sessions) -> Component:
    """Sessions, the picture of all steps, and missing sign-offs."""
    return html.Div(
        [
            dated_card(sessions, queries.session.context().as_of),
            sessions_card(queries.sessions(choice)),
            picture_card(queries.picture(choice)),
            skills_card(queries.skills(choice)),
        ]
    )
