"""How are the effect of refreshers and the learning curve laid out and read?"""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.figures import before_after, learning_by_changes
from dashboard.layout import words
from dashboard.layout.cards import figure_card, folded, numbers, scrolled
from dashboard.layout.choosing import choice as choose
from dashboard.layout.words import limits, number, percent, percents
from dashboard.retraining.views import HelpedView

MOST_SHOWN = 6
REGRESSION_NOTE = (
    "Families get a refresher after a bad period, and bad periods pass anyway (regression to the "
    "mean), so before and after alone shows an effect where there is none. The comparison with "
    "families of the same record without a refresher adjusts for that. Where changing in time, which "
    "no refresher teaches, differs as well, no effect is shown."
)
STAYING_NOTE = (
    "Later ranges have fewer and different caregivers than the first: those whose line came out "
    "early are missing, so a falling curve is not only learning."
)
SCOPE_NOTE = "For all sites that you may see, not only the site chosen above."
MARKS = "Open circle: before and after. Filled diamond: against similar bad periods. Lines: 95 % limits."  # fmt: skip


def effect_card(view: HelpedView) -> Component:
    """Before and after, and against similar bad periods without a refresher."""
    title = "Did refreshers help?"
    table = view.effects
    if table.empty:
        return figure_card(
            title,
            None,
            "No family has enough entries before and after a dressing-change refresher, so its "
            "effect cannot be shown yet.",
            table=None,
            notes=(REGRESSION_NOTE,),
            explained=(("refresher_effect", "How the effect is calculated"),),
        )
    shown = table[table["adjusted_lower"].notna().to_numpy(dtype=bool)].head(MOST_SHOWN)
    notes = [*([view.control] if view.control else []), REGRESSION_NOTE, SCOPE_NOTE]
    if len(shown):
        notes.insert(0, MARKS)
    figure = before_after(shown) if len(shown) else None
    whole = _effects(table)
    return figure_card(
        title,
        figure,
        effect_words(view),
        table=folded("Before and after", whole)
        if figure is not None
        else scrolled("Before and after", whole),
        notes=tuple(notes),
        explained=(("refresher_effect", "How the effect is calculated"),),
    )


def effect_words(view: HelpedView) -> str:
    """What the comparison shows, and from how many families."""
    table = view.effects
    most = int(table["families"].max())
    families = words.counted(most, "family", "families")
    seen = f"{families} with entries in the {view.window_days} days before and after a refresher"
    known = table[table["adjusted_lower"].notna().to_numpy(dtype=bool)]
    if known.empty:
        return (
            f"{seen}: too few families, or too little missed, or families chosen for reasons that "
            "the log does not show. No effect can be estimated; the table shows the counts."
        )
    fewer = known.loc[(known["adjusted_upper"] < 1).to_numpy(dtype=bool), "step_name"]
    more = known.loc[(known["adjusted_lower"] > 1).to_numpy(dtype=bool), "step_name"]
    parts = []
    if len(fewer):
        parts.append(f"less was missed than after similar bad periods: {words.listed(list(fewer))}")
    if len(more):
        parts.append(f"more was missed than after similar bad periods: {words.listed(list(more))}")
    if not parts:
        parts.append(
            "refreshers made no measurable difference compared with similar families who had none"
        )
    return f"{seen}. {words.sentence('; '.join(parts))}"


def _effects(table: pd.DataFrame) -> Markup:
    heads = ("Step", "Families", "Before", "After", "Ratio", "95 % limits", "Against similar bad periods", "95 % limits", "Reading")  # fmt: skip
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
    explained = (("learning_curve", "How the curve is calculated"),)
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
        above=choose("Step", "curve", view.curves, view.curve, keeps=True),
    )


def learning_words(view: HelpedView) -> str:
    """The first and last range compared, and whether their limits overlap."""
    rows = view.learning.to_dict("records")
    first, last = rows[0], rows[-1]
    name = words.sentence(view.curve_name)[:-1]
    reading = f"{name}: missed {_share(first)} in changes {first['name']}"
    if len(rows) == 1:
        return f"{reading}; no caregiver has done more changes yet."
    reading = f"{reading}, {_share(last)} in changes {last['name']}"
    if any(pd.isna(row[c]) for row in (first, last) for c in ("lower", "upper")):
        return f"{reading}: too few families for limits."
    if last["upper"] < first["lower"]:
        return f"{reading}: less, by more than chance."
    if last["lower"] > first["upper"]:
        return f"{reading}: more, by more than chance."
    return f"{reading}: no clear difference."


def _share(row: dict[Any, Any]) -> str:
    missed, seen = (words.thousands(int(row[c])) for c in ("missed", "seen"))
    return f"{missed} of {seen} ({_fine(row['share'])})"


def _fine(share: Any) -> str:
    """A share in percent; small ones with a decimal."""
    return f"{100 * share:.1f} %" if 0 < share < 0.095 else percent(share)


def _learning(table: pd.DataFrame) -> Markup:
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
