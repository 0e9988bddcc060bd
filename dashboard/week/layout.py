"""What happened in a week? The weekly summary of the reader's role."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.week import WeekChoice, read_week, week_address
from dashboard.layout import frame as shell
from dashboard.layout import ids
from dashboard.layout.templates import static
from dashboard.security.roles import PATHS, Page
from dashboard.session.session import Session
from dashboard.week.queries import WeekQueries
from dashboard.week.views import WeekHead

PATH = PATHS[Page.WEEK]
TITLE = "Weekly summary"
TITLES = {"week": TITLE, "month": "Monthly report"}


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address; the summary itself follows a moment later."""
    head = WeekQueries(session).week_head(read_week(search))
    return shell.page(
        PATH,
        head.context,
        [
            html.Div(head_part(head), id=ids.WEEK_HEAD),
            html.Div(html.P("Preparing the weekly summary …"), id=ids.WEEK_BODY, role="status"),
        ],
    )


def head_part(head: WeekHead) -> Component:
    """Which week is shown, and links to others."""
    chosen = head.choice
    known = chosen.known or ""
    return static(
        "week/head",
        head=head,
        title=f"{TITLES[head.kind]}: {head.text}",
        path=PATH,
        others=[
            (text, week_address(WeekChoice(name, chosen.whose, chosen.known)))
            for text, name in (
                (f"{head.kind.capitalize()} before", head.before),
                (f"{head.kind.capitalize()} after", head.after),
            )
            if name is not None
        ],
        received_by=known if known[:1].isdigit() else "",
        pdf=week_address(chosen, "pdf"),
        html=week_address(chosen, "html"),
    )
