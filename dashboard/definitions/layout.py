"""How are the numbers and the calling order worked out, and which policy holds today?"""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.definitions.queries import DefinitionsQueries
from dashboard.definitions.views import PolicyView, Quantity, Rule
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.attributes import aria
from dashboard.layout.drawn import drawn
from dashboard.layout.static import static
from dashboard.session.session import Session

PATH = "/definitions"
TITLE = "How it is worked out"

WORDS = {
    "The day": (
        "The list is read in the morning of the as-of day: days before it count, and entries "
        "dated up to it are known. A home line-day is a night on which the line is in place and "
        "the child sleeps at home."
    ),
    "In date, overdue": (
        "A change starts an interval: the line's own order, else the policy's interval for the "
        "dressing put on. The change is due when the interval has passed; the policy may grant "
        "days of grace. After that the dressing is overdue."
    ),
    "Compromised": (
        "A dressing reported loose, damp or soiled has to be changed that same day, however long "
        "its interval still runs."
    ),
    "Not logged is not the same as not done": (
        "A family is silent when nothing was logged for longer than the policy allows. Overdue "
        "while the family still logs is overdue; overdue while silent is said as overdue or not "
        "logged."
    ),
    "Who is called first": (
        "A family stands in the most urgent band that one of its reasons gives. Within a band: "
        "more days overdue first, then more reasons, then longer silence, then the family's code."
    ),
    "Waiting": (
        "A recorded call lets the family wait until its recheck day. A row received after the "
        "call that brings a red flag, a compromised dressing or a new skin finding lists it "
        "again at once. A call on which nobody was reached does not answer a red flag."
    ),
    "Not known": (
        "Days with no known change in force are in neither class. An unknown state is never "
        "counted as good or as bad."
    ),
}


def layout(session: Session) -> list[Component]:
    """Definitions in words, and the policy in force with the source of every number."""
    queries = DefinitionsQueries(session)
    return shell.page(
        PATH,
        queries.session.context(),
        [queries.session.cached(PATH, lambda: drawn(_explained(queries.policy())))],
    )


def _explained(view: PolicyView) -> Component:
    since = words.long_day(view.effective_from)
    return static(
        html.H1(TITLE),
        html.Dl(
            [html.Div([html.Dt(name), html.Dd(text)]) for name, text in WORDS.items()],
            className="terms",
        ),
        html.H2("The bands"),
        html.Dl(
            [
                html.Div([html.Dt(words.BANDS[b].title), html.Dd(words.BANDS[b].meaning)])
                for b in words.BANDS_SHOWN
            ],
            className="terms",
        ),
        html.H2("The numbers"),
        _quantities(view.quantities),
        html.H2("The policy in force"),
        html.P(
            f"{view.context.policy}, edition {view.context.edition}, in force from {since}. "
            "Every number can be changed in the programme's own policy file."
        ),
        _rules("Intervals", ("Task", "Change", "Source"), view.intervals),
        _rules("Thresholds", ("What it says", "Value", "Source"), view.settings),
        _rules("Finding codes", ("Finding", "Counts as", "Source"), view.findings),
    )


def _quantities(quantities: tuple[Quantity, ...]) -> Component:
    """Each number with an address of its own, its source and its example."""
    return html.Dl(
        [
            html.Div(
                [
                    html.Dt(q.title),
                    html.Dd(
                        [
                            html.P(q.words),
                            html.P(f"Unit: {q.unit}. Source: {q.source}.", className="where"),
                            html.P(f"Example: {q.example} Answer: {q.answer}.", className="where"),
                        ]
                    ),
                ],
                id=q.key,
            )
            for q in quantities
        ],
        className="terms",
    )


def _rules(name: str, heads: tuple[str, ...], rules: tuple[Rule, ...]) -> Component:
    body = [
        html.Tr(
            [
                html.Th(words.sentence(r.meaning).rstrip("."), scope="row"),
                html.Td(r.value),
                html.Td(r.source),
            ]
        )
        for r in rules
    ]
    return html.Section(
        [
            html.H3(name),
            html.Div(
                html.Table(
                    [
                        html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])),
                        html.Tbody(body),
                    ],
                    className="plain rules",
                ),
                className="scroll",
                tabIndex=0,
                role="region",
                **aria(label=name),
            ),
        ],
        className="rule-set",
    )
