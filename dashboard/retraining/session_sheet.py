"""How are planned sessions listed, and how is the sheet of one laid out for paper?"""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.family import family_address
from dashboard.addresses.retraining import RETRAINING, session_address
from dashboard.layout import words
from dashboard.layout.cards import figure_card, scrolled
from dashboard.layout.choosing import choice as choose
from dashboard.layout.static import static
from dashboard.retraining import words as need_words
from dashboard.retraining.views import SESSION_SIZES, SessionRow, SessionsView, SheetRow, SheetView

TITLE = "Which families could share a session?"
TOGETHER_WORDS = {"site": "one site", "language": "one site and language"}
SHEET_HEADS = ("Family", "Caregiver", "What was missed", "Last refresher", "Came", "How it went", "Initials")  # fmt: skip


def sessions_card(view: SessionsView) -> Component:
    """Sessions with the way to the sheet of each."""
    whose = TOGETHER_WORDS["language" if view.by_language else "site"]
    if view.rows:
        count = words.counted(len(view.rows) + view.more, "session", "sessions")
        said = f"{count}, each for families of {whose} who probably miss the same step."
    else:
        said = f"No two families of {whose} probably miss the same step."
    notes = ["A family that probably misses several steps stands in several sessions."]
    if view.by_language:
        notes.append("Families whose language is not recorded stand in none.")
    if view.more:
        notes.append(f"{view.more} smaller ones are not shown: choose a site.")
    sizes = tuple((str(n), f"up to {n} families") for n in SESSION_SIZES)
    together = tuple(TOGETHER_WORDS.items())
    chosen = "language" if view.by_language else "site"
    return figure_card(
        TITLE,
        None,
        said,
        table=_table(view) if view.rows else None,
        notes=tuple(notes),
        above=html.Div(
            [
                choose("Size", "size", sizes, str(view.size), keeps=True),
                *(
                    [choose("Together", "together", together, chosen, keeps=True)]
                    if view.may_by_language
                    else []
                ),
            ],
            className="tools",
        ),
    )


def _table(view: SessionsView) -> Component:
    heads = ["Session", "Site", *(["Language"] if view.by_language else []), "Families", "Sheet"]
    return scrolled(
        "Planned sessions",
        html.Table(
            [
                html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])),
                html.Tbody([_row(row, view) for row in view.rows]),
            ],
            className="plain sessions",
        ),
    )


def _row(row: SessionRow, view: SessionsView) -> Component:
    who: list[Any] = [f"{len(row.families)}: "]
    for at, family in enumerate(row.families):
        who += [", " if at else "", html.A(family, href=family_address(family))]
    name = words.sentence(row.step_name)[:-1]
    return html.Tr(
        [
            html.Th(_named(row), scope="row"),
            html.Td(row.name.site),
            *([html.Td(row.name.language)] if view.by_language else []),
            html.Td(who, className="words"),
            html.Td(
                html.A(
                    ["Sheet", html.Span(f" for {name}, {row.name.site}", className="unseen")],
                    href=session_address(row.name),
                )
            ),
        ]
    )


def _named(row: SessionRow) -> str:
    """The step; a further group of the same site and step says which it is."""
    name = words.sentence(row.step_name)[:-1]
    return name if row.name.part == 1 else f"{name}, group {row.name.part}"


def session_sheet(view: SheetView, as_of: date) -> Component:
    """The sheet: who is asked, what was missed, boxes to tick, room to write."""
    session = view.session
    facts = [
        ("Site", session.name.site),
        *([("Language", session.name.language)] if session.name.language else []),
        ("Families", str(len(session.families))),
        ("As of", words.long_day(as_of)),
    ]
    blanks = ("Held on", "Held by", "Place")
    return static(
        html.P(html.A("Back to retraining", href=RETRAINING), className="back always"),
        html.H1(f"Session: {_named(session)}"),
        html.Dl([html.Div([html.Dt(k), html.Dd(v)]) for k, v in facts], className="facts"),
        html.Dl(
            [html.Div([html.Dt(k), html.Dd("", className="blank")]) for k in blanks],
            className="facts blanks paper-block",
        ),
        html.Div(
            html.Button("Print this sheet", id="print", type="button", className="quiet-action"),
            className="tools",
        ),
        scrolled(
            "Who is asked",
            html.Table(
                [
                    html.Thead(html.Tr([html.Th(h, scope="col") for h in SHEET_HEADS])),
                    html.Tbody([_sheet_row(row, as_of) for row in view.rows]),
                ],
                className="plain sheet",
            ),
        ),
        html.P(
            "How it went: alone and right, with help, or not yet able. Put it into linedays on the "
            "page of retraining, by caregiver, with the day of the session.",
            className="note",
        ),
        html.P(f"{need_words.SHRINKAGE_NOTE} {need_words.LOGGED_NOTE}", className="note"),
        html.P("This sheet names families and is for the team only.", className="note"),
    )


def _sheet_row(row: SheetRow, as_of: date) -> Component:
    need = row.need
    missed = words.sentence(need_words.missed_words(need.step, need.missed, need.seen))
    what = [html.Span(missed)]
    if row.also:
        what.append(html.Span(f" Also: {words.listed(list(row.also))}.", className="also"))
    relation = f", {words.plain(row.relation)}" if row.relation else ""
    outcomes = [
        html.Span([html.I(className="box"), text], className="tick")
        for text in need_words.OUTCOMES.values()
    ]
    return html.Tr(
        [
            html.Th(need.family_id, scope="row"),
            html.Td(f"{need.caregiver_id}{relation}" if need.caregiver_id else "not named"),
            html.Td(what, className="what"),
            html.Td(need_words.refreshed(need, as_of)),
            html.Td([html.I(className="box"), html.Span("came", className="unseen")]),
            html.Td(outcomes),
            html.Td("", className="initials"),
        ]
    )
