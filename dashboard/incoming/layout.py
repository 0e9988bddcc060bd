"""What was received, from where and how late; which rows to correct; what is doubtful?"""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.incoming import read_incoming
from dashboard.figures import days_to_receipt
from dashboard.incoming import parts
from dashboard.incoming import words as incoming_words
from dashboard.incoming.queries import IncomingQueries
from dashboard.incoming.views import IncomingView
from dashboard.layout import frame as shell
from dashboard.layout.cards import plotted
from dashboard.layout.filled import PLACE, filled
from dashboard.layout.serialised import serialised as as_sent
from dashboard.layout.templates import heading, shown
from dashboard.security import csrf
from dashboard.security.roles import PATHS, Page
from dashboard.session.session import Session

PATH = PATHS[Page.INCOMING]
TITLE = parts.TITLE
LATE = (PATH, "late")
"""The section with a figure, which is the same under every choice and for every role."""
LATE_TITLE = "How late does it come in?"


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address."""
    queries = IncomingQueries(session)
    choice = read_incoming(search)
    view = queries.incoming(choice)
    late = session.cached(LATE, lambda: as_sent(_late(queries.incoming(choice))), lasting=True)
    page, doubts = session.cached(
        (PATH, "parts", choice, session.seen_as()),
        lambda: (parts.page(view, choice, PLACE), parts.doubts(view, PLACE)),
        lasting=True,
    )
    token = csrf.token()
    return shell.page(
        PATH, view.context, [shown(filled(page, token)), late, shown(filled(doubts, token))]
    )


def _late(view: IncomingView) -> Component:
    figure = []
    if len(view.delays):
        reading = incoming_words.how_late(view.delays)
        figure = [plotted(days_to_receipt(view.delays), f"{LATE_TITLE} {reading}")]
    return html.Section(
        [shown(heading(LATE_TITLE)), *figure, shown(parts.delays(view))],
        className="line figure-card",
        id="late",
    )
