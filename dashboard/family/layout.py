"""What happened to one family's lines, and what is their state today?"""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses.family import read_family, read_family_choice
from dashboard.call_actions.callbacks import stores
from dashboard.call_actions.queries import state_of
from dashboard.call_actions.views import Acts, News
from dashboard.family import parts
from dashboard.family.history_chart import history_section
from dashboard.family.queries import FamilyQueries
from dashboard.family.views import FamilyView
from dashboard.layout import frame as shell
from dashboard.layout import ids
from dashboard.layout.attributes import aria
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import shown
from dashboard.security.roles import Page, Right
from dashboard.session.session import Session


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
        acts = queries.acts(view)
        sent = [] if acts is None else stores(ids.OF_FAMILY_PAGE)
        return shell.page("", context, [*sent, _columns(queries, view, acts)])
    now = session.context()
    if family_id is None or not session.knows_family(family_id):
        return shell.not_found(now, "No family has this code.")
    if choice.known_on is None:
        return shell.not_found(now, f"No line of family {family_id} is known any more.")
    not_known = parts.not_known(family_id, choice, choice.known_on, now.as_of)
    return shell.page("", now, [html.Div(shown(not_known), id=ids.FAMILY_BODY)])


def _columns(queries: FamilyQueries, view: FamilyView, recorded: Acts | None) -> Component:
    """The family, and next to it what can be recorded of it."""
    body = html.Div(family_body(queries, view), id=ids.FAMILY_BODY)
    acts = family_acts(queries, view, recorded, None)
    # Callbacks need their places also where nothing can be recorded.
    panel = html.Section(
        [
            dcc.Store(id=ids.FAMILY_SHOWN, data=None if recorded is None else state_of(recorded)),
            html.P(
                "" if recorded is None else recorded.others,
                id=ids.FAMILY_OTHERS,
                role="status",
                className="others",
            ),
            html.Div(acts, id=ids.FAMILY_ACTS),
            html.P("", id=ids.FAMILY_ACTS_FAULT, role="alert", className="fault"),
        ],
        className="panel",
        hidden=acts is None,
        **aria(label="Calls to this family"),
    )
    return html.Div([body, panel], className="" if acts is None else "with-panel")


def family_acts(
    queries: FamilyQueries, view: FamilyView, acts: Acts | None, news: News | None
) -> Component | None:
    """What was recorded of a family and the forms to record more; None: nothing can be now."""
    return None if acts is None else shown(parts.acts(acts, view, queries.on_list(view), news))


def family_body(queries: FamilyQueries, view: FamilyView) -> Component:
    """What is shown of a family under a choice; most is the same for all who may see the same."""
    back = queries.session.may_open(Page.CALLS)
    acts = view.as_of == view.now and Right.RECORD_CALLS in view.sees and back
    key = ("family page", view.family_id, view.choice, view.sees, view.needs, back)
    whole = queries.session.cached(key, lambda: serialised(html.Div(_sections(view, acts=acts))))
    return html.Div([shown(parts.on_list(view, queries.on_list(view), back=back)), whole])


def _sections(view: FamilyView, *, acts: bool) -> list[Component]:
    people = parts.people(view, calls=not acts)
    return [shown(parts.head(view, acts=acts)), history_section(view), shown(people)]
