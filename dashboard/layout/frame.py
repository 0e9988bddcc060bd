"""What stands around every page: names, ways between pages, the day, the cautions."""

from __future__ import annotations

from html import escape
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.layout import ids, words
from dashboard.layout.attributes import aria, current
from dashboard.layout.static import static, to_html
from dashboard.security import csrf
from dashboard.security.roles import PATHS, SAID, Page, Reader, page_of
from dashboard.session.service import IDLE_SECONDS
from dashboard.session.views import PageContext

INDEX = """<!DOCTYPE html>
<html lang="en">
  <head>
    {%metas%}
    <title>{%title%}</title>
    <link rel="icon" type="image/svg+xml" href="/assets/mark.svg">
    {%css%}
  </head>
  <body data-idle-seconds="{idle}">
    <a class="skip" href="#main">Skip to the page</a>
    <div id="trouble" class="trouble" role="alert" hidden></div>
    {%app_entry%}
    <noscript><p class="noscript">This page needs JavaScript, all of it from this machine. Log files can be brought in without it: <a href="/incoming/files">bring files in</a>.</p></noscript>
    <div hidden>{%config%}{%scripts%}{%renderer%}</div>
  </body>
</html>
"""

WHOLE = """<!DOCTYPE html>
<html lang="en">
  <head>
    <meta charset="utf-8">
    <meta name="viewport" content="width=device-width, initial-scale=1">
    <title>{title} · linedays</title>
    <link rel="icon" type="image/svg+xml" href="/assets/mark.svg">
    <link rel="stylesheet" href="/assets/linedays.css">
    <script src="/assets/linedays.js" defer></script>
    <script src="/assets/incoming.js" defer></script>
  </head>
  <body data-idle-seconds="{idle}">
    <a class="skip" href="#main">Skip to the page</a>
    <div id="trouble" class="trouble" role="alert" hidden></div>
    {body}
  </body>
</html>
"""
"""A page that is sent whole and works without any script."""

PLACES = (
    (PATHS[Page.CALLS], "Calls"),
    (PATHS[Page.RETRAINING], "Retraining"),
    (PATHS[Page.RATES], "Rates"),
    (PATHS[Page.DWELL], "Dwell time"),
    (PATHS[Page.WEEK], "The week"),
    (PATHS[Page.INCOMING], "Incoming logs"),
    (PATHS[Page.DEFINITIONS], "How it is worked out"),
    (PATHS[Page.RECORD], "Who opened what"),
)
"""Pages with a way to them from every page; each person finds those that the role includes."""


def places_of(reader: Reader) -> list[tuple[str, str]]:
    """Paths and names of the pages that a person may open."""
    return [
        (path, name)
        for path, name in PLACES
        if (page := page_of(path)) is not None and reader.may_open(page)
    ]


def index(*, signs_in: bool) -> str:
    """The first bytes of every page; a page left alone leaves itself when a sign-in ends."""
    return INDEX.replace("{idle}", str(IDLE_SECONDS if signs_in else 0))


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


def page(here: str, context: PageContext | None, content: list[Component]) -> list[Component]:
    """A whole page: head, cautions, content."""
    return [
        static(head(here, context), cautions(context)),
        html.Main(content, id="main", tabIndex=-1),
        *(() if context is None else (static(foot(context)),)),
    ]


def whole(here: str, context: PageContext, title: str, content: list[Any]) -> str:
    """A whole page as HTML, for forms that are answered without callbacks."""
    body = [
        head(here, context),
        cautions(context),
        html.Main(content, id="main", tabIndex=-1),
        foot(context),
    ]
    idle = 0 if context.demo else IDLE_SECONDS
    return WHOLE.format(title=escape(title), idle=idle, body=to_html(body))


def head(here: str, context: PageContext | None) -> Component:
    """Name, ways to the other pages, and the day the page stands on."""
    return html.Header(
        [
            html.A(
                [html.Span(className="mark", **aria(hidden="true")), "linedays"],
                href="/",
                className="brand",
            ),
            html.Nav(
                html.Ul(
                    [
                        html.Li(
                            html.A(
                                name,
                                href=path,
                                **current(it_is=path == here, kind="page"),
                            )
                        )
                        for path, name in ([] if context is None else places_of(context.reader))
                    ]
                ),
                **aria(label="Pages"),
            ),
            *(() if context is None else (stands(context), signed_in(context))),
        ],
        className="head",
    )


def stands(context: PageContext) -> Component:
    """As-of day and what was known."""
    return html.P(
        [
            html.Span(["As of ", html.Strong(words.long_day(context.as_of))]),
            html.Span(known(context)),
        ],
        className="standing",
    )


def signed_in(context: PageContext) -> Component:
    """Who is signed in, and the way out."""
    who = html.Span(["Signed in: ", html.Strong(context.reader.code)])
    if context.demo:
        return html.Div(who, className="signed-in")
    # A button sends its name and value along, so that the form needs no hidden field.
    out = html.Button(
        "Sign out",
        type="submit",
        name="csrf_token",
        value=csrf.token(),
        className="quiet-action small",
    )
    return html.Form([who, out], action="/sign-out", method="POST", className="signed-in")


def known(context: PageContext) -> str:
    """What was received in time to be known here, in words."""
    if context.knows_whole_day:
        return "with all received up to that day's end"
    at = context.known_at
    return f"as known at {at:%H:%M} on {words.short_day(at.date(), context.as_of)}"


def cautions(context: PageContext | None) -> Component:
    """The cautions that every screen and sheet carries."""
    texts: list[Component] = [html.Span(text + " ") for text in words.CAUTIONS]
    if context is not None and context.demo:
        reader = context.reader
        who = f"It has signed you in as {reader.code}, {SAID[reader.role]}."
        texts.insert(0, html.Strong(f"{words.DEMO} {who} "))
    return html.Aside(html.P(texts), className="cautions", **aria(label="Cautions"))


def foot(context: PageContext) -> Component:
    """Which policy holds, and where it is explained."""
    return html.Footer(
        html.P(
            [
                f"Policy: {context.policy}, edition {context.edition}. ",
                html.A("How it is worked out", href="/definitions"),
            ]
        )
    )


def not_found(context: PageContext, what: str) -> list[Component]:
    """A page that says what was not found and where to go."""
    return page(
        "",
        context,
        [
            html.H1("Nothing here"),
            html.P(what),
            html.P(html.A("Go to your first page", href="/")),
        ],
    )
