"""Which families miss which steps, and who is not signed off: how are they laid out?"""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.figures import step_picture
from dashboard.figures.step_picture import LIKELY
from dashboard.layout import words
from dashboard.layout.cards import figure_card
from dashboard.layout.choosing import choice as choose
from dashboard.layout.templates import render
from dashboard.retraining import words as need_words
from dashboard.retraining.views import FAINT, PictureView, SkillsView

PICTURE_NOTE = (
    "Number: probability in per cent that the step is missed more often than its limit, for the "
    "family's caregiver with the highest probability. Filled: 80 % or more. No square: nothing "
    "missed."
)


def picture_card(view: PictureView) -> Component:
    """The picture of steps by families; on a narrow screen a list in its place."""
    title = "Which families miss which steps?"
    if not view.families:
        return figure_card(
            title, None, "No family is likely to miss a step more often than its limit.", table=None
        )
    return html.Div(
        figure_card(
            title,
            step_picture(view.cells, view.families, view.steps),
            _picture_words(view),
            notes=(PICTURE_NOTE, *_left_out(view)),
            table=_picture_table(view),
            explained=(("drawn_share", "How the probability is calculated"),),
        ),
        className="picture",
    )


def _picture_words(view: PictureView) -> str:
    likely = view.cells[(view.cells["prob"] >= LIKELY).to_numpy(dtype=bool)]
    counts = likely["step_name"].value_counts()
    most = [
        f"{name} ({words.counted(int(n), 'family', 'families')})"
        for name, n in counts.head(3).items()
    ]
    shown = words.counted(len(view.families), "family", "families")
    return f"{shown} with the most certain needs. Most frequent: {words.listed(most)}."


def _left_out(view: PictureView) -> tuple[str, ...]:
    notes = []
    if view.families_left_out:
        more = words.counted(view.families_left_out, "family", "families")
        notes.append(f"{more} more with a probable need: see the list above.")
    if view.steps_left_out:
        steps = words.listed(list(view.steps_left_out))
        notes.append(f"No column for steps that these families hardly miss: {steps}.")
    return tuple(notes)


def _picture_table(view: PictureView) -> Markup:
    cells = view.cells
    keys = zip(cells["family_id"], cells["step_name"], strict=True)
    probs = dict(zip(keys, cells["prob"].astype(float), strict=True))
    rows = [
        (
            family,
            *(
                need_words.probability(probs[family, step]) if (family, step) in probs else "–"
                for step in view.steps
            ),
        )
        for family in view.families
    ]
    return render(
        "retraining/picture",
        heads=("Family", *(words.sentence(s)[:-1] for s in view.steps)),
        rows=rows,
        families=[_family(view, family) for family in view.families],
    )


def _family(view: PictureView, family: str) -> tuple[str, str, list[tuple[str, str]]]:
    own = view.cells[(view.cells["family_id"] == family).to_numpy(dtype=bool)]
    own = own[(own["prob"] >= FAINT).to_numpy(dtype=bool)].sort_values("prob", ascending=False)
    steps = [
        (need_words.probability(prob), str(name))
        for name, prob in zip(own["step_name"], own["prob"], strict=True)
    ]
    return family, family_address(family, FamilyChoice("all")), steps


def skills_card(view: SkillsView) -> Component:
    """Who lacks a current sign-off for the chosen skill."""
    name = need_words.SKILLS[view.skill]
    count = dict(view.counts)[view.skill]
    if count is None:
        reading = f"No sign-offs for the {name} are stored, so we cannot show who is missing one."
    elif not count:
        reading = f"Everyone who did a {name} in the last {view.recent_days} days is signed off."
    else:
        people = words.counted(count, "caregiver", "caregivers")
        reading = (
            f"{people} did a {name} in the last {view.recent_days} days without a current sign-off."
        )
    notes = [
        (
            "Current: the newest demonstration was independent and within "
            f"{view.valid_months} months. Caregivers that the log does not name cannot be shown."
        )
    ]
    if view.more:
        notes.append(
            f"{view.more} more: choose a site, or use linedays retraining sign-offs for "
            "dressing changes."
        )
    options = tuple(
        (skill, f"{need_words.SKILLS[skill]} ({'none stored' if n is None else n})")
        for skill, n in view.counts
    )
    return figure_card(
        "Who is not signed off?",
        None,
        reading,
        table=render(
            "retraining/unsigned", rows=[(row, family_address(row.family_id)) for row in view.rows]
        )
        if view.rows
        else None,
        notes=tuple(notes),
        above=choose("Skill", "skill", options, view.skill, keeps=True),
    )
