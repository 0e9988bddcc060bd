"""How is the list of all families put into words?"""

from __future__ import annotations

from datetime import date

from dashboard.families.views import FamiliesView, FamilyRow
from dashboard.layout import words

HEADS = {
    "family": "Family",
    "place": "Where listed today",
    "overdue": "Dressing overdue",
    "heard": "Last heard from",
    "nurse": "Nurse",
    "site": "Site",
}
"""Columns by how they are sorted."""
ORDER = {sort: "descending" if sort == "overdue" else "ascending" for sort in HEADS}
"""How each column is sorted."""
PLACES = {
    **{band: text.title for band, text in words.BANDS.items()},
    "not_at_home": "Not at home",
    "no_line": "No line now",
}


def counted(view: FamiliesView) -> str:
    """How many families are shown, of how many."""
    families = words.counted(view.total, "family", "families")
    if view.total == view.every and not view.choice.q:
        return f"{families}, in the programme now or before."
    match = f" with \u201c{view.choice.q}\u201d" if view.choice.q else ""
    return f"{families} of {words.thousands(view.every)}{match}."


def nothing(view: FamiliesView) -> str:
    """What to do where no family is shown."""
    if not view.every:
        return "No family is known yet. Import a line registry first."
    if wrong := not_there(view):
        return wrong
    return "No family matches. Search for a part of a code, or clear the search and filters."


def not_there(view: FamiliesView) -> str:
    """What the address asks for that no family has, if anything."""
    choice = view.choice
    asked = (
        ("place", choice.place, tuple(PLACES)),
        ("nurse", choice.nurse, view.nurses),
        ("site", choice.site, view.sites),
    )
    wrong = [
        f"{name} \u201c{value}\u201d"
        for name, value, known in asked
        if value and value not in known
    ]
    return f"No family has the {words.listed(wrong)}. Choose from the list." if wrong else ""


def heard(row: FamilyRow, as_of: date) -> str:
    """When the family last logged anything."""
    if row.last_heard_on is None:
        return "no log entries yet"
    return f"{words.ago(row.last_heard_on, as_of)}, {words.short_day(row.last_heard_on, as_of)}"
