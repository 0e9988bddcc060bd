"""What stands around every page: names, ways between pages, the day, the cautions."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.components.attributes import aria, current
from dashboard.components.static import static
from dashboard.views import Standing

INDEX = """<!DOCTYPE html>
<html lang="en">
  <head>
    {%metas%}
    <title>{%title%}</title>
    <link rel="icon" type="image/svg+xml" href="/assets/mark.svg">
    {%css%}
  </head>
  <body>
    <a class="skip" href="#main">Skip to the page</a>
    <div id="trouble" class="trouble" role="alert" hidden></div>
    {%app_entry%}
    <noscript><p class="noscript">This page needs JavaScript, all of it from this machine.</p></noscript>
    <div hidden>{%config%}{%scripts%}{%renderer%}</div>
  </body>
</html>
"""

PLACES = (
    ("/", "Calls"),
    ("/rates", "Rates"),
    ("/dwell", "Dwell time"),
    ("/definitions", "How it is worked out"),
)


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


def page(here: str, standing: Standing | None, content: list[Component]) -> list[Component]:
    """A whole page: head, cautions, content."""
    return [
        static(head(here, standing), cautions(standing)),
        html.Main(content, id="main", tabIndex=-1),
        *(() if standing is None else (static(foot(standing)),)),
    ]


def head(here: str, standing: Standing | None) -> Component:
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
                        for path, name in PLACES
                    ]
                ),
                **aria(label="Pages"),
            ),
            *(() if standing is None else (stands(standing),)),
        ],
        className="head",
    )


def stands(standing: Standing) -> Component:
    """As-of day and what was known."""
    return html.P(
        [
            html.Span(["As of ", html.Strong(words.long_day(standing.as_of))]),
            html.Span(known(standing)),
        ],
        className="standing",
    )


def known(standing: Standing) -> str:
    """What was received in time to be known here, in words."""
    if standing.knows_whole_day:
        return "with all received up to that day's end"
    at = standing.known_at
    return f"as known at {at:%H:%M} on {words.short_day(at.date(), standing.as_of)}"


def cautions(standing: Standing | None) -> Component:
    """The cautions that every screen and sheet carries."""
    texts: list[Component] = [html.Span(text + " ") for text in words.CAUTIONS]
    if standing is not None and standing.demo:
        texts.insert(0, html.Strong(words.DEMO + " "))
    return html.Aside(html.P(texts), className="cautions", **aria(label="Cautions"))


def foot(standing: Standing) -> Component:
    """Which policy holds, and where it is explained."""
    return html.Footer(
        html.P(
            [
                f"Policy: {standing.policy}, edition {standing.edition}. ",
                html.A("How it is worked out", href="/definitions"),
            ]
        )
    )


def not_found(what: str) -> list[Component]:
    """A page that says what was not found and where to go."""
    return page(
        "",
        None,
        [
            html.H1("Nothing here"),
            html.P(what),
            html.P(html.A("Go to the call list", href="/")),
        ],
    )
