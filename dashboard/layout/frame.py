"""What is around every page: names, ways between pages, the day, the cautions."""

from __future__ import annotations

from dataclasses import dataclass

from dash import dcc, html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.layout import ids, words
from dashboard.layout.templates import render, static
from dashboard.security import csrf
from dashboard.security.roles import NAMES, PATHS, Page, Reader, Right, page_of
from dashboard.session.service import IDLE_SECONDS
from dashboard.session.views import PageContext

PLACES = (
    (PATHS[Page.CALLS], "Calls"),
    (PATHS[Page.FAMILIES], "Families"),
    (PATHS[Page.RETRAINING], "Retraining"),
    (PATHS[Page.RATES], "Rates"),
    (PATHS[Page.DWELL], "Dwell time"),
    (PATHS[Page.WEEK], "Weekly summary"),
    (PATHS[Page.INCOMING], "Data in"),
    (PATHS[Page.DEFINITIONS], "Definitions"),
    (PATHS[Page.RECORD], "Access log"),
)
"""Pages with a link from every page; each person sees those that the role includes."""


@dataclass(frozen=True)
class Frame:
    """What head, cautions and foot of a page show."""

    here: str
    """Path of the page."""
    context: PageContext
    places: list[tuple[str, str]]
    received: str
    role: str
    token: str
    imports: bool
    """Whether this person can import files."""
    finds: bool
    """Whether this person can search for a family."""
    finding: str
    """What was searched for."""

    @classmethod
    def of(cls, here: str, context: PageContext, finding: str = "") -> Frame:
        """The frame of a page."""
        reader = context.reader
        return cls(
            here,
            context,
            places_of(reader),
            received(context),
            NAMES[reader.role],
            token="" if context.demo else csrf.token(),
            imports=reader.may_open(Page.INCOMING) and reader.may(Right.BRING_FILES),
            finds=reader.may_open(Page.FAMILIES),
            finding=finding,
        )


def places_of(reader: Reader) -> list[tuple[str, str]]:
    """Paths and names of the pages that a person may open."""
    return [
        (path, name)
        for path, name in PLACES
        if (page := page_of(path)) is not None and reader.may_open(page)
    ]


def index(*, signs_in: bool) -> str:
    """The first bytes of every page; a page left alone leaves itself when a sign-in ends."""
    idle = IDLE_SECONDS if signs_in else 0
    return str(render("layout/index", idle=idle))  # Dash puts markup of its own into it


def frame() -> Component:
    """The part that stays while pages change."""
    return html.Div(
        [
            dcc.Location(id=ids.URL, refresh=False),
            dcc.Store(id=ids.CHANGED, data=0),
            dcc.Store(id=ids.LOOKED, data=0),
            dcc.Store(id=ids.FOCUSED),
            html.Div(id=ids.PAGE),
        ]
    )


def page(
    here: str, context: PageContext, content: list[Component], *, finding: str = ""
) -> list[Component]:
    """A whole page: head, cautions, content, foot."""
    around = Frame.of(here, context, finding)
    return [
        static("layout/above", frame=around),
        html.Main(content, id="main", tabIndex=-1),
        static("layout/below", frame=around),
    ]


def whole(here: str, context: PageContext, title: str, content: Markup) -> str:
    """A whole page as HTML, for forms that are answered without callbacks."""
    idle = 0 if context.demo else IDLE_SECONDS
    around = Frame.of(here, context)
    return str(render("layout/whole", frame=around, title=title, idle=idle, content=content))


def received(context: PageContext) -> str:
    """Up to when data are included, in words."""
    if not context.knows_whole_day:
        at = context.known_at
        return f"received by {at:%H:%M} on {words.short_day(at.date(), context.as_of)}"
    if context.is_today:
        return "everything received so far"
    return "received by the end of that day"


def not_found(context: PageContext, what: str) -> list[Component]:
    """A page that reports what was not found and where to go."""
    return page("", context, [static("layout/not_found", what=what)])
