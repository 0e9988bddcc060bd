"""What happened to one family's lines, and how do they stand today?"""

from __future__ import annotations

from typing import Any

from dash import MATCH, Input, Output, State, ctx, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, shell, words
from dashboard.address import family_address, read_family, wants_whole_time, write_choice
from dashboard.components.attributes import aria, current
from dashboard.components.bands import band_name
from dashboard.components.calls_made import calls_made
from dashboard.components.line_card import line_card
from dashboard.components.source import source_row
from dashboard.components.static import static
from dashboard.queries import Queries
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.views import CaregiverView, Choice, FamilyView, Standing

NO_ROW = "No stored row stands behind this mark: it is what is missing between rows."


def title(family_id: str) -> str:
    """Title of the page in the browser."""
    return f"Family {family_id}"


def layout(queries: Queries, pathname: str, search: str | None) -> list[Component]:
    """One family's page."""
    view = queries.family(read_family(pathname))
    if view is None:
        return shell.not_found(
            queries.standing(), "There is no family with this code in the store."
        )
    whole = wants_whole_time(search)
    return shell.page(
        "",
        view.standing,
        [
            static(_head(view), _standing_words(view), _span_choice(view, whole=whole)),
            *[line_card(line, view.standing.as_of, whole=whole) for line in view.lines],
            static(_people(view.caregivers, view.standing), _calls(view)),
        ],
    )


def _head(view: FamilyView) -> list[Component]:
    back = write_choice(Choice(family_id=view.family_id))
    way = html.P(html.A("Back to the call list", href=back), className="back always")
    return [
        *([way] if view.standing.reader.may_open(Page.CALLS) else []),
        html.Header(
            [
                html.H1(["Family ", html.Span(view.family_id, className="code")]),
                band_name(view.row.band),
            ],
            className="family-head",
        ),
    ]


def _standing_words(view: FamilyView) -> list[Component]:
    row = view.row
    as_of = view.standing.as_of
    children = sorted({line.child_id for line in view.lines})
    facts = [
        ("Children", words.listed(children)),
        ("Nurse", words.listed(list(row.nurses)) or "not recorded"),
        ("Site", words.listed(list(row.sites)) or "no line at home"),
        ("Last heard", _heard_words(view)),
    ]
    if row.recheck_on is not None:
        facts.append(("Listed again from", words.short_day(row.recheck_on, as_of)))
    if view.contact is not None:
        facts.append(("Contact", view.contact))
    if view.language is not None:
        facts.append(("Language", view.language))
    reasons = [html.Li(words.sentence(text)) for text in row.sentences]
    return [
        html.Dl([html.Div([html.Dt(k), html.Dd(v)]) for k, v in facts], className="facts"),
        html.Ul(reasons, className="why-now")
        if reasons
        else html.P("No reason to call is known on this day.", className="why-now"),
    ]


def _heard_words(view: FamilyView) -> str:
    row, as_of = view.row, view.standing.as_of
    if row.last_heard_on is None:
        return "never: not logged is not the same as not done"
    said = f"{words.ago(row.last_heard_on, as_of)} ({words.short_day(row.last_heard_on, as_of)})"
    return f"{said}; silent: not logged is not the same as not done" if row.silent else said


def _span_choice(view: FamilyView, *, whole: bool) -> Component:
    items = [
        html.A(
            name,
            href=family_address(view.family_id, whole=all_of_it),
            **current(it_is=all_of_it == whole),
        )
        for name, all_of_it in (("Last 12 weeks", False), ("Whole time", True))
    ]
    return html.Nav([html.Span("Show"), *items], className="spans", **aria(label="Time shown"))


def _people(people: tuple[CaregiverView, ...], standing: Standing) -> list[Component]:
    if not people:
        return []
    rows = []
    for person in people:
        signed = "no sign-off recorded"
        if person.signed_on is not None:
            day = words.short_day(person.signed_on, standing.as_of)
            signed = f"{words.plain(person.outcome or 'outcome not recorded')}, {day}"
        relation = words.plain(person.relation) if person.relation else "not recorded"
        rows.append(
            html.Tr([html.Th(person.caregiver_id, scope="row"), html.Td(relation), html.Td(signed)])
        )
    heads = ("Caregiver", "Who it is", "Newest sign-off for the dressing change")
    return [
        html.H2("Who cares for the line", className="apart"),
        html.Table(
            [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(rows)],
            className="plain",
        ),
    ]


def _calls(view: FamilyView) -> list[Component]:
    heading = html.H2("Calls recorded", className="apart")
    if not view.calls:
        return [heading, html.P("No call is recorded.")]
    return [heading, calls_made(view.calls, view.standing.as_of, can_take_back=False)]


def register(guard: Guard) -> None:
    """Register the callbacks of the family page."""

    @guard.callback(
        Page.FAMILY,
        Output({"type": ids.SOURCE, "line": MATCH}, "children"),
        Input({"type": ids.FIGURE, "line": MATCH}, "clickData"),
        Input({"type": ids.ASKED, "line": MATCH}, "data"),
        State(ids.URL, "pathname"),
        prevent_initial_call=True,
    )
    def show_source(queries: Queries, click: Any, asked: Any, pathname: str) -> Component:
        by_figure = isinstance(ctx.triggered_id, dict) and ctx.triggered_id["type"] == ids.FIGURE
        table, row = _of_click(click) if by_figure else _of_button(asked)
        source = queries.source(read_family(pathname), table, row)
        if source is None:
            return static(html.P(NO_ROW))
        return static(source_row(source, level="h3"))


def _of_button(asked: Any) -> tuple[object, object]:
    """Table and row that a button of the table asked for."""
    if not isinstance(asked, dict):
        raise PreventUpdate
    return asked.get("table"), asked.get("row")


def _of_click(click: Any) -> tuple[object, object]:
    """Table and row that a clicked mark carries."""
    try:
        table, row = click["points"][0]["customdata"][:2]
    except (KeyError, IndexError, TypeError, ValueError):
        raise PreventUpdate from None
    return table, row
