"""What did the last week, or any week before it, come to? The digest of one's role."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.week import WeekChoice, read_week, week_address
from dashboard.layout import frame as shell
from dashboard.layout import ids, words
from dashboard.layout.attributes import in_page
from dashboard.layout.choosing import choice
from dashboard.layout.static import input_field, static
from dashboard.security.roles import PATHS, Page
from dashboard.session.session import Session
from dashboard.week.queries import WeekQueries
from dashboard.week.views import WeekHead

PATH = PATHS[Page.WEEK]
TITLE = "The week"


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address; the digest itself comes a moment later."""
    queries = WeekQueries(session)
    head = queries.week_head(read_week(search))
    return shell.page(
        PATH,
        head.context,
        [
            html.Div(head_part(head), id=ids.WEEK_HEAD),
            html.Div(
                html.P("The digest is being put together from each morning of the week …"),
                id=ids.WEEK_BODY,
                role="status",
            ),
        ],
    )


def head_part(head: WeekHead) -> Component:
    """Which week is shown, and the ways to others."""
    chosen = head.choice
    return static(
        html.H1(words.sentence(head.said)[:-1]),
        None if head.mistaken is None else html.P(head.mistaken, className="fault", role="alert"),
        html.Div(
            [
                choice("Week", "week", head.weeks, chosen.week),
                choice("Digest for", "for", head.roles, chosen.whose)
                if len(head.roles) > 1
                else None,
                choice("Rows", "known", head.known, chosen.known),
                _beside(head),
            ],
            className="tools",
        ),
        _by_day(head),
        html.P(
            [
                "Take it out as ",
                _file(chosen, "pdf", "PDF"),
                " or ",
                _file(chosen, "html", "HTML file"),
                ".",
            ],
            className="screen",
        ),
    )


def _by_day(head: WeekHead) -> Component:
    """The week by a day in it, as known at the end of a day: a form, so that half a day is none."""
    latest = head.context.as_of
    return html.Form(
        [
            html.Label("Week with this day", htmlFor="week-day"),
            input_field(id="week-day", name="week", type="date", value=head.first, max=latest),
            html.Label("known at the end of", htmlFor="week-known"),
            input_field(id="week-known", name="known", type="date", value=_day(head), max=latest),
            input_field(name="for", type="hidden", value=head.choice.whose),
            html.Button("Show", type="submit", className="quiet-action"),
        ],
        action=PATH,
        method="GET",
        className="form known-on screen",
    )


def _day(head: WeekHead) -> str:
    known = head.choice.known or ""
    return known if known[:1].isdigit() else ""


def _beside(head: WeekHead) -> Component:
    ways: list[Any] = [
        html.A(text, href=week_address(_of(head.choice, name)), **in_page(opens=False))
        for text, name in (("Week before", head.before), ("Week after", head.after))
        if name is not None
    ]
    return html.P(ways, className="pager")


def _of(chosen: WeekChoice, name: str) -> WeekChoice:
    return WeekChoice(name, chosen.whose, chosen.known)


def _file(chosen: WeekChoice, kind: str, text: str) -> Component:
    return html.A(text, href=week_address(chosen, kind), download="")
