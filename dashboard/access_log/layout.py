"""Who opened which family, recorded a call, signed in or was refused?"""

from __future__ import annotations

from dash.development.base_component import Component

from dashboard.access_log.queries import AccessLogQueries
from dashboard.access_log.views import AccessesView
from dashboard.addresses.access_log import read_access_log
from dashboard.layout import frame as shell
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import static
from dashboard.security.roles import PATHS, Page
from dashboard.session.session import Session

PATH = PATHS[Page.RECORD]
TITLE = "Access log"


def layout(session: Session, search: str | None = None) -> list[Component]:
    """The newest entries of the access log."""
    queries, choice = AccessLogQueries(session), read_access_log(search)

    def content() -> Component:
        view = queries.accesses(choice)
        return serialised(static("access_log/page", title=TITLE, about=_about(view), view=view))

    made = session.cached((PATH, choice, session.reader.code, queries.version()), content)
    return shell.page(PATH, session.context(), [made])


def _about(view: AccessesView) -> str:
    parts = [
        "Newest first.",
        "If the same person opens the same family again within ten minutes, it is one row.",
        "Rows are never changed or removed.",
    ]
    if view.context.reader.sites is not None:
        parts.append("You see what you did yourself, and everything about families of your sites.")
    if view.more:
        parts.append("Choose days to see older rows, or use: linedays user record.")
    return " ".join(parts)
