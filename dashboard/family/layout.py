"""What happened to one family's lines, and how do they stand today?"""

from __future__ import annotations

from datetime import date

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.calls import Choice, write_choice
from dashboard.addresses.family import read_family, read_family_choice
from dashboard.call_state.bands import band_name
from dashboard.call_state.calls_made import calls_made
from dashboard.family.earlier_day import known_on_form, looked_back
from dashboard.family.history_chart import family_history
from dashboard.family.line_state import ended_words, line_state
from dashboard.family.queries import FamilyQueries
from dashboard.family.views import CaregiverView, FamilyView
from dashboard.layout import frame as shell
from dashboard.layout import ids, words
from dashboard.layout.drawn import drawn
from dashboard.layout.static import static
from dashboard.security.roles import Page
from dashboard.session.session import Session

NO_ROW = "No stored row stands behind this mark: it is what is missing between rows."


def title(family_id: str) -> str:
    """Title of the page in the browser."""
    return f"Family {family_id}"


def layout(session: Session, pathname: str, search: str | None) -> list[Component]:
    """One family's page."""
    queries = FamilyQueries(session)
    family_id, choice = read_family(pathname), read_family_choice(search)
    view = queries.family(family_id, choice)
    if view is not None:
        context = queries.context_on(view.as_of, view.edition)
        return shell.page("", context, [html.Div(family_body(queries, view), id=ids.FAMILY_BODY)])
    now = queries.session.context()
    if family_id is None or choice.known_on is None or not queries.session.knows_family(family_id):
        return shell.not_found(now, "There is no family with this code in the store.")
    said = f"No line of family {family_id} was known on {words.long_day(choice.known_on)}."
    parts = (
        html.H1(["Family ", html.Span(family_id, className="code")]),
        looked_back(family_id, choice, now.as_of),
        html.P(said),
        known_on_form(family_id, choice, now.as_of),
    )
    return shell.page("", now, [html.Div(static(*parts), id=ids.FAMILY_BODY)])


def family_body(queries: FamilyQueries, view: FamilyView) -> Component:
    """What is shown of a family under a choice; the same for all who may see the same."""
    back = queries.session.may_open(Page.CALLS)
    asked = ("family drawn", view.family_id, view.choice, view.sees, back)
    return queries.session.cached(asked, lambda: drawn(html.Div(_parts(view, back=back))))


def _parts(view: FamilyView, *, back: bool) -> list[Component]:
    return [
        static(
            _head(view, back=back),
            _standing_words(view),
            _lines(view),
            known_on_form(view.family_id, view.choice, view.now),
        ),
        family_history(view),
        static(_people(view.caregivers, view.as_of), _calls(view)),
    ]


def _lines(view: FamilyView) -> list[Component]:
    """How each line in place stands, and in a sentence which ones ended."""
    ended = [line for line in view.lines if line.state == "ended"]
    states = [line_state(line, view.as_of) for line in view.lines if line not in ended]
    said = words.listed([ended_words(line, view.as_of) for line in ended])
    return [
        html.Div(states, className="lines"),
        *([html.P(f"Ended: {said}.", className="ended")] if ended else []),
    ]


def _head(view: FamilyView, *, back: bool) -> list[Component | None]:
    to = write_choice(Choice(family_id=view.family_id))
    way = html.P(html.A("Back to the call list", href=to), className="back always")
    return [
        *([way] if back else []),
        looked_back(view.family_id, view.choice, view.now),
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
    as_of = view.as_of
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
    row, as_of = view.row, view.as_of
    if row.last_heard_on is None:
        return "never: not logged is not the same as not done"
    said = f"{words.ago(row.last_heard_on, as_of)} ({words.short_day(row.last_heard_on, as_of)})"
    return f"{said}; silent: not logged is not the same as not done" if row.silent else said


def _people(people: tuple[CaregiverView, ...], as_of: date) -> list[Component]:
    if not people:
        return []
    rows = []
    for person in people:
        signed = "no sign-off recorded"
        if person.signed_on is not None:
            day = words.short_day(person.signed_on, as_of)
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
    return [heading, calls_made(view.calls, view.as_of, can_take_back=False)]
