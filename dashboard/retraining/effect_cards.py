"""How are before and after of refreshers, and the learning curve, laid out and read?"""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import html
from dash.development.base_component import Component

from dashboard.figures import before_after, learning_by_changes
from dashboard.layout import words
from dashboard.layout.cards import figure_card, folded, numbers, scrolled
from dashboard.layout.choosing import choice as choose
from dashboard.layout.words import limits, number, percent, percents
from dashboard.retraining.views import HelpedView

MOST_DRAWN = 6
REGRESSION_NOTE = (
    "Families are sent to a refresher after a bad spell, and bad spells pass by themselves "
    "(regression to the mean): their own before and after alone shows an effect where there is "
    "none. The comparison with equally bad spells allows for that; not for a refresher given for "
    "other reasons than what was missed."
)
STAYING_NOTE = (
    "Later ranges hold fewer and other caregivers than the first: those whose line came out early "
    "are missing there, so that a falling curve is not all learning."
)
SCOPE_NOTE = "Counted over all the sites that you may see, whatever site is chosen above."
MARKS = "Open circle: the families' own before and after. Filled diamond: against equally bad spells. Lines: 95 % limits."  # fmt: skip


def effect_card(view: HelpedView) -> Component:
    """Before and after, own and against equally bad spells, side by side."""
    title = "Did refreshers help?"
    table = view.effects
    if table.empty:
        return figure_card(
            title,
            None,
            "No family with a refresher of the dressing change was seen before and after it, so "
            "nothing can be said of refreshers yet.",
            table=None,
            notes=(REGRESSION_NOTE,),
            explained=(("refresher_effect", "How before and after is worked out"),),
        )
    shown = table[table["adjusted_lower"].notna().to_numpy(dtype=bool)].head(MOST_DRAWN)
    notes = [REGRESSION_NOTE, SCOPE_NOTE]
    if len(shown):
        notes.insert(0, MARKS)
    drawn = before_after(shown) if len(shown) else None
    whole = _effects(table)
    return figure_card(
        title,
        drawn,
        effect_words(view),
        table=folded("Before and after", whole)
        if drawn is not None
        else scrolled("Before and after", whole),
        notes=tuple(notes),
        explained=(("refresher_effect", "How before and after is worked out"),),
    )


def effect_words(view: HelpedView) -> str:
    """What before and after says, in plain words; how many families it rests on."""
    table = view.effects
    most = int(table["families"].max())
    families = words.counted(most, "family was", "families were")
    seen = f"{families} seen in the {view.window_days} days before a refresher and after it"
    known = table[table["adjusted_lower"].notna().to_numpy(dtype=bool)]
    if known.empty:
        return (
            f"{seen}: too few families, or too little missed, to tell the refreshers' part. The "
            "table shows what was counted."
        )
    fewer = known.loc[(known["adjusted_upper"] < 1).to_numpy(dtype=bool), "step_name"]
    more = known.loc[(known["adjusted_lower"] > 1).to_numpy(dtype=bool), "step_name"]
    said = []
    if len(fewer):
        said.append(f"less was missed than after equally bad spells: {words.listed(list(fewer))}")
    if len(more):
        said.append(f"more was missed than after equally bad spells: {words.listed(list(more))}")
    if not said:
        said.append("no effect of the refreshers can be told from equally bad spells without one")
    return f"{seen}. {words.sentence('; '.join(said))}"


def _effects(table: pd.DataFrame) -> Component:
    heads = ("Step", "Families", "Before", "After", "Own ratio", "95 % limits", "Against equally bad spells", "95 % limits", "Reading")  # fmt: skip
    return numbers(heads, [_effect(row) for row in table.to_dict("records")])


def _effect(row: dict[Any, Any]) -> tuple[str, ...]:
    return (
        words.sentence(row["step_name"])[:-1],
        words.thousands(int(row["families"])),
        *(
            f"{words.thousands(int(row[f'missed_{w}']))} of {words.thousands(int(row[f'seen_{w}']))}"
            for w in ("before", "after")
        ),
        number(row["own_ratio"]),
        limits(row["own_lower"], row["own_upper"]),
        number(row["adjusted_ratio"]),
        limits(row["adjusted_lower"], row["adjusted_upper"]),
        words.sentence(row["reading"]),
    )


def learning_card(view: HelpedView) -> Component:
    """The share missed by number of changes done since the first sign-off."""
    title = "Do caregivers miss less, the more changes they have done?"
    explained = (("learning_curve", "How the curve is worked out"),)
    if view.curve is None:
        return figure_card(
            title,
            None,
            "No caregiver has logged a change since a first sign-off, so there is no curve.",
            table=None,
            explained=explained,
        )
    return figure_card(
        title,
        learning_by_changes(view.learning),
        learning_words(view),
        table=folded("Share missed by changes done", _learning(view.learning)),
        notes=(STAYING_NOTE, SCOPE_NOTE),
        explained=explained,
        above=html.Div(
            choose("Step", "curve", view.curves, view.curve, keeps=True), className="tools"
        ),
    )


def learning_words(view: HelpedView) -> str:
    """First and last range beside one another, and whether their limits are apart."""
    rows = view.learning.to_dict("records")
    first, last = rows[0], rows[-1]
    name = words.sentence(view.curve_name)[:-1]
    said = f"{name}: missed {_share(first)} in changes {first['name']}"
    if len(rows) == 1:
        return f"{said}; nobody has done more changes yet."
    said = f"{said}, {_share(last)} in changes {last['name']}"
    if any(pd.isna(row[c]) for row in (first, last) for c in ("lower", "upper")):
        return f"{said}: too few families for limits, so no more can be told."
    if last["upper"] < first["lower"]:
        return f"{said}: less, by more than chance."
    if last["lower"] > first["upper"]:
        return f"{said}: more, by more than chance."
    return f"{said}: the limits overlap, so that the two are not told apart."


def _share(row: dict[Any, Any]) -> str:
    missed, seen = (words.thousands(int(row[c])) for c in ("missed", "seen"))
    return f"{missed} of {seen} ({_fine(row['share'])})"


def _fine(share: Any) -> str:
    """A share in percent; small ones with a decimal."""
    return f"{100 * share:.1f} %" if 0 < share < 0.095 else percent(share)


def _learning(table: pd.DataFrame) -> Component:
    heads = ("Changes done", "Families", "Occasions", "Missed", "Share", "95 % limits")
    rows = [
        (
            row["name"],
            words.thousands(int(row["families"])),
            words.thousands(int(row["seen"])),
            words.thousands(int(row["missed"])),
            _fine(row["share"]),
            percents(row["lower"], row["upper"]),
        )
        for row in table.to_dict("records")
    ]
    return numbers(heads, rows)
