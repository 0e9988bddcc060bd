"""Which families miss which steps, and who is not signed off: how are they laid out?"""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.figures import step_picture
from dashboard.figures.step_picture import LIKELY
from dashboard.layout import words
from dashboard.layout.cards import figure_card, folded, numbers, scrolled
from dashboard.layout.choosing import choice as choose
from dashboard.retraining import words as need_words
from dashboard.retraining.views import FAINT, PictureView, SkillsView

PICTURE_NOTE = (
    "Number: probability in percent that the step is missed more often than its limit, by the "
    "family's surest caregiver. Filled: half or more. No square: nothing missed."
)


def picture_card(view: PictureView) -> Component:
    """The picture of steps by families; on a narrow screen a list in its place."""
    title = "Which families miss which steps?"
    if not view.families:
        return figure_card(
            title, None, "Nobody probably misses a step more often than its limit.", table=None
        )
    return html.Div(
        figure_card(
            title,
            step_picture(view.cells, view.families, view.steps),
            _picture_words(view),
            notes=(PICTURE_NOTE, *_left_out(view)),
            table=html.Div(
                [
                    folded("Steps by families", _picture_table(view)),
                    html.Div(_picture_list(view), className="narrow-only"),
                ]
            ),
            explained=(("drawn_share", "How the probability is worked out"),),
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
    return f"{shown} with the surest needs. Most often probable: {words.listed(most)}."


def _left_out(view: PictureView) -> tuple[str, ...]:
    said = []
    if view.families_left_out:
        more = words.counted(view.families_left_out, "family", "families")
        said.append(f"{more} more with a probable need: see the list above.")
    if view.steps_left_out:
        steps = words.listed(list(view.steps_left_out))
        said.append(f"Without a column, as hardly missed by these families: {steps}.")
    return tuple(said)


def _probs(view: PictureView) -> dict[tuple[str, str], float]:
    cells = view.cells
    keys = zip(cells["family_id"], cells["step_name"], strict=True)
    return dict(zip(keys, cells["prob"].astype(float), strict=True))


def _picture_table(view: PictureView) -> Component:
    probs = _probs(view)
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
    return numbers(("Family", *(words.sentence(s)[:-1] for s in view.steps)), rows)


def _picture_list(view: PictureView) -> Component:
    """The same for a narrow screen: under each family its steps, the surest first."""
    items = []
    for family in view.families:
        own = view.cells[(view.cells["family_id"] == family).to_numpy(dtype=bool)]
        own = own[(own["prob"] >= FAINT).to_numpy(dtype=bool)].sort_values("prob", ascending=False)
        told = [
            html.Li([html.B(need_words.probability(prob)), f" {name}"])
            for name, prob in zip(own["step_name"], own["prob"], strict=True)
        ]
        way = html.A(family, href=family_address(family, FamilyChoice("all")), className="code")
        items.append(html.Li([way, html.Ul(told)]))
    return html.Ul(items, className="by-family")


def skills_card(view: SkillsView) -> Component:
    """Who lacks a current sign-off for the chosen skill."""
    name = need_words.SKILLS[view.skill]
    count = dict(view.counts)[view.skill]
    if count is None:
        said = f"No sign-off for the {name} is stored, so nobody can be told who lacks one."
    elif not count:
        said = f"Everybody who did a {name} in the last {view.recent_days} days is signed off."
    else:
        people = words.counted(count, "caregiver", "caregivers")
        said = (
            f"{people} did a {name} in the last {view.recent_days} days without a current sign-off."
        )
    notes = [
        (
            "Current: the newest demonstration was done alone and right, within "
            f"{view.valid_months} months. Caregivers whom the log does not name can't be told."
        )
    ]
    if view.more:
        notes.append(
            f"{view.more} more: linedays retraining sign-offs lists those of the "
            "dressing change, or choose a site."
        )
    return figure_card(
        "Who is not signed off?",
        None,
        said,
        table=_unsigned(view) if view.rows else None,
        notes=tuple(notes),
        above=_skill_choice(view),
    )


def _skill_choice(view: SkillsView) -> Component:
    options = tuple(
        (
            skill,
            f"{need_words.SKILLS[skill]} ({'none stored' if count is None else count})",
        )
        for skill, count in view.counts
    )
    return html.Div(choose("Skill", "skill", options, view.skill, keeps=True), className="tools")


def _unsigned(view: SkillsView) -> Component:
    heads = ("Family", "Caregiver", "Site", "Times", "Last on", "Why", "Last shown on")
    rows = [
        html.Tr(
            [
                html.Th(html.A(row.family_id, href=family_address(row.family_id)), scope="row"),
                html.Td(row.caregiver_id),
                html.Td(words.listed(list(row.sites))),
                html.Td(str(row.times)),
                html.Td(words.day_year(row.last_on)),
                html.Td(row.why),
                html.Td("never" if row.signed_on is None else words.day_year(row.signed_on)),
            ]
        )
        for row in view.rows
    ]
    table = html.Table(
        [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(rows)],
        className="plain numbers",
    )
    return scrolled("Caregivers without a current sign-off", table)
