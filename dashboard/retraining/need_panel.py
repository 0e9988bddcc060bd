"""What is shown of the opened need: how sure it is, the rows that prove it, what else is known?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.definitions import definition_address
from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.addresses.retraining import NeedsChoice, write_needs
from dashboard.evidence.source_rows import source_row
from dashboard.layout import words
from dashboard.layout.attributes import in_page
from dashboard.layout.static import static
from dashboard.layout.words import percent
from dashboard.retraining import words as need_words
from dashboard.retraining.need_list import sureness_mark
from dashboard.retraining.refresher_form import refresher_form, refreshers_marked
from dashboard.retraining.views import NeedOpened, NeedRow, ShownSkill

MOST_OTHERS = 8
FIRST_OPEN = 3
"""Rows shown at once; the others unfold."""


def need_panel(opened: NeedOpened, choice: NeedsChoice, message: str | None) -> Component:
    """The whole panel of one family, caregiver and step."""
    return static(
        _name(opened, choice),
        None if message is None else _said(message),
        _how_sure(opened),
        _proof(opened),
        _signed(opened),
        refreshers_marked(opened),
        refresher_form(opened) if opened.may_mark and opened.caregivers else None,
        _others(opened, choice),
    )


def _said(message: str) -> Component:
    return html.Div(html.P(message), className="said", role="status", id="panel-said", tabIndex=-1)


def _name(opened: NeedOpened, choice: NeedsChoice) -> list[Component]:
    row = opened.row
    back = write_needs(replace(choice, family_id=None))
    code = html.Span(row.family_id, className="code")
    ways = [html.A("Whole history", href=family_address(row.family_id, FamilyChoice("all")))]
    if opened.may_mark and opened.caregivers:
        ways.append(html.A("Mark a refresher done", href="#mark"))
    about = [need_words.who(row), words.plain(opened.relation) if opened.relation else None]
    if opened.language:
        about.append(f"language {opened.language}")
    return [
        html.P(html.A("Back to the list", href=back, **in_page()), className="back"),
        html.Header(
            [
                html.H2(["Family ", code], id="panel-name", tabIndex=-1),
                html.P(words.sentence(", ".join(a for a in about if a))[:-1]),
                html.P(
                    [sureness_mark(row.sureness), words.sentence(row.step_name)[:-1]],
                    className="band",
                ),
                html.P(ways, className="ways"),
            ]
        ),
    ]


def _how_sure(opened: NeedOpened) -> list[Component]:
    row = opened.row
    missed = need_words.missed_words(row.step, row.missed, row.seen)
    return [
        html.H3("How sure"),
        html.P(f"{words.sentence(missed)[:-1]}: {need_words.how_sure(row)}."),
        html.P(
            [
                f"Drawn toward the programme's share of this step: {percent(row.share)}. ",
                html.A("How it is worked out", href=definition_address("drawn_share")),
            ],
            className="expected",
        ),
    ]


def _proof(opened: NeedOpened) -> list[Component]:
    rows: list[Any] = [source_row(s) for s in opened.sources]
    shown: list[Component] = rows[:FIRST_OPEN]
    if len(rows) > FIRST_OPEN:
        more = words.counted(len(rows) - FIRST_OPEN, "earlier row", "earlier rows")
        shown.append(html.Details([html.Summary(f"Show {more}"), *rows[FIRST_OPEN:]]))
    if opened.sources_left_out:
        left = words.counted(opened.sources_left_out, "row", "rows")
        shown.append(
            html.P(
                [
                    f"{left} before these: ",
                    html.A(
                        "the family's whole history",
                        href=family_address(opened.row.family_id, FamilyChoice("all")),
                    ),
                    ".",
                ]
            )
        )
    return [html.H3(_proof_title(opened)), *shown]


def _proof_title(opened: NeedOpened) -> str:
    return "The row that proves it" if opened.row.missed == 1 else "The rows that prove it"


def _signed(opened: NeedOpened) -> list[Component]:
    if opened.row.caregiver_id is None:
        return [html.H3("Signed off"), html.P("The log does not say who did it.")]
    said = [html.Li(_skill(s, opened)) for s in opened.skills]
    if opened.without_sign_off:
        times = words.counted(opened.without_sign_off, "dressing change", "dressing changes")
        said.append(html.Li(f"{times} without a current sign-off on that day."))
    if not any(s.skill == "dressing_change" for s in opened.skills):
        said.insert(0, html.Li("Dressing change: no sign-off is stored."))
    return [html.H3("Signed off"), html.Ul(said, className="readings")]


def _skill(shown: ShownSkill, opened: NeedOpened) -> list[Any]:
    day = words.short_day(shown.signed_on, opened.context.as_of)
    kind = f", {words.plain(shown.kind)}" if shown.kind else ""
    ended = "" if shown.is_current else " Not a current sign-off."
    outcome = need_words.OUTCOMES.get(shown.outcome, words.plain(shown.outcome))
    return [
        html.B(words.sentence(need_words.SKILLS.get(shown.skill, words.plain(shown.skill)))[:-1]),
        f": {outcome}, {day}{kind}.{ended}",
    ]


def _others(opened: NeedOpened, choice: NeedsChoice) -> list[Component]:
    if not opened.others:
        return []
    shown = opened.others[:MOST_OTHERS]
    left = len(opened.others) - len(shown)
    more = [html.Li(f"and {left} less sure")] if left else []
    return [
        html.H3("What else is missed in this family"),
        html.Ul([html.Li(_other(o, choice)) for o in shown] + more, className="readings"),
    ]


def _other(row: NeedRow, choice: NeedsChoice) -> list[Any]:
    family, caregiver, step = row.key
    to = write_needs(replace(choice, family_id=family, caregiver_id=caregiver, need=step))
    missed = need_words.missed_words(row.step, row.missed, row.seen)
    name = f"{words.sentence(row.step_name)[:-1]}, {need_words.who(row)}"
    return [
        html.A(name, href=to, **in_page(opens=True)),
        f": {missed}; probability {need_words.probability(row.prob)}.",
    ]
