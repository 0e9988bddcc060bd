"""What happened to one family's lines, and what is their state today?"""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.family import read_family, read_family_choice
from dashboard.family import parts
from dashboard.family.history_chart import history_section
from dashboard.family.queries import FamilyQueries
from dashboard.family.views import FamilyView
from dashboard.layout import frame as shell
from dashboard.layout import ids
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import shown
from dashboard.security.roles import Page
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
        return shell.page("", context, [html.Div(family_body(queries, view), id=ids.FAMILY_BODY)])
    now = session.context()
    if family_id is None or choice.known_on is None or not session.knows_family(family_id):
        return shell.not_found(now, "No family has this code.")
    not_known = parts.not_known(family_id, choice, choice.known_on, now.as_of)
    return shell.page("", now, [html.Div(shown(not_known), id=ids.FAMILY_BODY)])


def family_body(queries: FamilyQueries, view: FamilyView) -> Component:
    """What is shown of a family under a choice; the same for all who may see the same."""
    back = queries.session.may_open(Page.CALLS)
    key = ("family page", view.family_id, view.choice, view.sees, view.needs, back)
    return queries.session.cached(key, lambda: serialised(html.Div(_sections(view, back=back))))


def _sections(view: FamilyView, *, back: bool) -> list[Component]:
    return [shown(parts.head(view, back=back)), history_section(view), shown(parts.people(view))]
