"""How is a refresher marked done, and how is one taken back?"""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.layout import ids, words
from dashboard.layout.attributes import sends, takes_back
from dashboard.layout.static import input_field
from dashboard.retraining import words as need_words
from dashboard.retraining.views import MarkedRefresher, NeedOpened


def refresher_form(opened: NeedOpened) -> list[Any]:
    """A plain form; the page's script hands what is typed to the callback as one thing."""
    row = opened.row
    skills = list(need_words.SKILLS.items())
    return [
        html.H3("Mark a refresher done", id="mark"),
        html.Form(
            [
                input_field(type="hidden", name="family_id", value=row.family_id),
                html.P(
                    [
                        "Marked by ",
                        html.Strong(opened.context.reader.code),
                        ", who is signed in. It becomes a row of the sign-offs.",
                    ],
                    className="recorded-as",
                ),
                _select(
                    "Who was trained",
                    "caregiver_id",
                    [(code, code) for code in opened.caregivers],
                    row.caregiver_id,
                ),
                _select("Skill", "skill", skills, skills[0][0]),
                html.Div(
                    [
                        html.Label("Held on", htmlFor="signed-on"),
                        input_field(
                            type="date",
                            name="signed_on",
                            id="signed-on",
                            value=opened.context.as_of.isoformat(),
                            max=opened.context.as_of.isoformat(),
                        ),
                    ],
                    className="field",
                ),
                html.Fieldset(
                    [
                        html.Legend("How it went"),
                        *(
                            html.Label(
                                [
                                    input_field(type="radio", name="outcome", value=code),
                                    words.sentence(text)[:-1],
                                ]
                            )
                            for code, text in need_words.OUTCOMES.items()
                        ),
                    ]
                ),
                html.Button("Mark it done", type="submit", className="main-action"),
            ],
            className="form",
            noValidate=True,
            **sends(ids.MARK_REFRESHER),
        ),
    ]


def _select(label: str, name: str, options: list[tuple[str, str]], chosen: str | None) -> Component:
    place = name.replace("_", "-")
    return html.Div(
        [
            html.Label(label, htmlFor=place),
            html.Select(
                [
                    html.Option(words.sentence(text)[:-1], value=value, selected=value == chosen)
                    for value, text in options
                ],
                id=place,
                name=name,
            ),
        ],
        className="field",
    )


def refreshers_marked(opened: NeedOpened) -> list[Any]:
    """Refreshers of the family that were marked here, each with a way to take it back."""
    if not opened.marked:
        return []
    items = [html.Li(_marked(m, opened)) for m in opened.marked]
    return [html.H3("Refreshers marked here"), html.Ul(items, className="made")]


def _marked(marked: MarkedRefresher, opened: NeedOpened) -> list[Component]:
    day = words.short_day(marked.signed_on, opened.context.as_of)
    skill = need_words.SKILLS.get(marked.skill, words.plain(marked.skill))
    outcome = need_words.OUTCOMES.get(marked.outcome, words.plain(marked.outcome))
    said: list[Component] = [
        html.P(
            [
                html.Strong(day),
                f", caregiver {marked.caregiver_id}: {skill}, {outcome}; marked by {marked.marked_by}",
            ]
        )
    ]
    if opened.may_mark:
        said.append(
            html.Button(
                "Take this refresher back",
                type="button",
                className="quiet-action",
                **takes_back(marked.row, ids.UNMARK_REFRESHER),
            )
        )
    return said
