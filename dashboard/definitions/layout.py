"""How are the numbers and the calling order calculated, and which policy is in force today?"""

from __future__ import annotations

from dash.development.base_component import Component

from dashboard.definitions.queries import DefinitionsQueries
from dashboard.definitions.views import PolicyView
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.serialised import serialised
from dashboard.layout.templates import static
from dashboard.session.session import Session

PATH = "/definitions"
TITLE = "Definitions"

TERMS = {
    "Day": (
        "The list is for the morning of the as-of day: days before it count, and entries dated up "
        "to it are included. A home line-day is a night on which the line is in place and the "
        "child sleeps at home."
    ),
    "In date, overdue": (
        "A change starts an interval: the line's own order, otherwise the policy's interval for "
        "the dressing put on. The change is due when the interval ends; the policy may allow days "
        "of grace. After that the dressing is overdue."
    ),
    "Compromised": (
        "A dressing reported loose, damp or soiled has to be changed the same day, however long "
        "its interval still has to run."
    ),
    "Not logged is not the same as not done": (
        "A family is silent when nothing was logged for longer than the policy allows. Care that "
        "looks overdue while the family is silent is shown as overdue or not logged."
    ),
    "Who is called first": (
        "Each family is in the most urgent band that one of its reasons gives. Within a band: more "
        "days overdue first, then more reasons, then longer silence, then the family's code."
    ),
    "Waiting": (
        "After a recorded call the family comes back on the list on its recheck day, or at once "
        "when a red flag, a compromised dressing or a new skin finding comes in. A call that "
        "nobody answered does not clear a red flag."
    ),
    "Not known": (
        "Days without a known dressing change are neither in date nor out of date. An unknown "
        "state is never counted as good or as bad."
    ),
}


def layout(session: Session) -> list[Component]:
    """Definitions in words, and the policy in force with the source of every number."""
    queries = DefinitionsQueries(session)
    content = session.cached(PATH, lambda: serialised(_explained(queries.policy())))
    return shell.page(PATH, session.context(), [content])


def _explained(view: PolicyView) -> Component:
    return static(
        "definitions/page",
        title=TITLE,
        terms=TERMS.items(),
        bands=[words.BANDS[band] for band in words.BANDS_SHOWN],
        view=view,
    )
