"""How are planned sessions listed, and how is the sheet of one laid out for print?"""

from __future__ import annotations

from datetime import date

from dash.development.base_component import Component

from dashboard.addresses.family import family_address
from dashboard.addresses.retraining import RETRAINING, plan_address, session_address
from dashboard.layout import words
from dashboard.layout.cards import figure_card
from dashboard.layout.choosing import choice as choose
from dashboard.layout.templates import render, static
from dashboard.retraining import words as need_words
from dashboard.retraining.views import SESSION_SIZES, SessionRow, SessionsView, SheetRow, SheetView

TITLE = "Which families could share a session?"
TOGETHER_WORDS = {"site": "one site", "language": "one site and language"}


def sessions_card(view: SessionsView) -> Component:
    """Sessions with a link to the sheet of each."""
    whose = TOGETHER_WORDS["language" if view.by_language else "site"]
    if view.rows:
        count = words.counted(len(view.rows) + view.more, "session", "sessions")
        reading = f"{count}, each for families of {whose} who probably miss the same step."
    else:
        reading = f"No two families of {whose} probably miss the same step."
    notes = ["A family that probably misses several steps is in several sessions."]
    if view.by_language:
        notes.append("Families without a recorded language are left out.")
    if view.more:
        notes.append(f"{view.more} smaller ones are not shown: choose a site.")
    sizes = tuple((str(n), f"up to {n} families") for n in SESSION_SIZES)
    choices = choose("Size", "size", sizes, str(view.size), keeps=True)
    if view.may_by_language:
        chosen = "language" if view.by_language else "site"
        together = tuple(TOGETHER_WORDS.items())
        choices += choose("Together", "together", together, chosen, keeps=True)
    return figure_card(
        TITLE,
        None,
        reading,
        table=render(
            "retraining/sessions",
            sessions=[session_words(row) for row in view.rows],
            by_language=view.by_language,
        )
        if view.rows
        else None,
        notes=tuple(notes),
        above=choices,
    )


def session_words(row: SessionRow) -> dict[str, object]:
    """What a session that families could share is named, who they are, and where it leads."""
    return {
        "title": _named(row),
        "site": row.name.site,
        "language": row.name.language,
        "families": [(family, family_address(family)) for family in row.families],
        "address": session_address(row.name),
        "plan": plan_address(row.name),
    }


def _named(row: SessionRow) -> str:
    """The step, with a number where one site has several groups for it."""
    name = words.sentence(row.step_name)[:-1]
    return name if row.name.part == 1 else f"{name}, group {row.name.part}"


def session_sheet(view: SheetView, as_of: date) -> Component:
    """The sheet: caregivers invited, what was missed, boxes to tick, space to write."""
    session = view.session
    facts = [
        ("Site", session.name.site),
        *([("Language", session.name.language)] if session.name.language else []),
        ("Families", str(len(session.families))),
        ("Data up to", words.long_day(as_of)),
    ]
    return static(
        "retraining/sheet",
        back=RETRAINING,
        title=_named(session),
        facts=facts,
        rows=[_sheet_row(row, as_of) for row in view.rows],
        outcomes=need_words.OUTCOMES.values(),
        shrinkage_note=need_words.SHRINKAGE_NOTE,
        logged_note=need_words.LOGGED_NOTE,
    )


def _sheet_row(row: SheetRow, as_of: date) -> dict[str, object]:
    need = row.need
    relation = f", {words.plain(row.relation)}" if row.relation else ""
    return {
        "family": need.family_id,
        "caregiver": f"{need.caregiver_id}{relation}" if need.caregiver_id else "not named",
        "missed": words.sentence(need_words.missed_words(need.step, need.missed, need.seen)),
        "also": words.listed(list(row.also)),
        "refreshed": need_words.refreshed(need, as_of),
    }
