"""What does the opened need show: how certain it is, its log entries, what else is known?"""

from __future__ import annotations

from dataclasses import replace

from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.addresses.retraining import NeedsChoice, plan_for, write_needs
from dashboard.evidence.source_rows import source_row
from dashboard.layout import ids, words
from dashboard.layout.templates import render, static
from dashboard.retraining import words as need_words
from dashboard.retraining.views import MarkedRefresher, NeedOpened, NeedRow, ShownSkill

MOST_OTHERS = 8


def need_panel(opened: NeedOpened, choice: NeedsChoice, message: str | None) -> Component:
    """The whole panel of one family, caregiver and step."""
    row = opened.row
    missed = need_words.missed_words(row.step, row.missed, row.seen)
    return static(
        "retraining/panel",
        row=row,
        back=write_needs(replace(choice, family_id=None)),
        plan=plan_for(row.family_id, row.caregiver_id) if opened.may_mark else None,
        history=family_address(row.family_id, FamilyChoice("all")),
        about=_about(opened),
        level=need_words.STROKES[row.sureness],
        step=words.sentence(row.step_name)[:-1],
        message=message,
        certainty=f"{words.sentence(missed)[:-1]}: {need_words.how_sure(row)}.",
        sources=[source_row(s) for s in opened.sources],
        left_out=opened.sources_left_out,
        signed=_signed(opened),
        marked=[_marked(one, opened) for one in opened.marked],
        may_mark=opened.may_mark,
        undoes=ids.UNMARK_REFRESHER,
        form=_form(opened) if opened.may_mark and opened.caregivers else None,
        others=[_other(other, choice) for other in opened.others[:MOST_OTHERS]],
        others_left_out=max(0, len(opened.others) - MOST_OTHERS),
    )


def _about(opened: NeedOpened) -> str:
    about = [need_words.who(opened.row)]
    if opened.relation:
        about.append(words.plain(opened.relation))
    if opened.language:
        about.append(f"language {opened.language}")
    return words.sentence(", ".join(about))[:-1]


def _signed(opened: NeedOpened) -> list[tuple[str, str]]:
    """Sign-offs of the caregiver by skill; empty where the log does not name the caregiver."""
    if opened.row.caregiver_id is None:
        return []
    lines = [_skill(shown, opened) for shown in opened.skills]
    if not any(s.skill == "dressing_change" for s in opened.skills):
        lines.insert(0, ("Dressing change", "no sign-off is stored."))
    if opened.without_sign_off:
        times = words.counted(opened.without_sign_off, "dressing change", "dressing changes")
        lines.append(("", f"{times} without a current sign-off on that day."))
    return lines


def _skill(shown: ShownSkill, opened: NeedOpened) -> tuple[str, str]:
    day = words.short_day(shown.signed_on, opened.context.as_of)
    kind = f", {words.plain(shown.kind)}" if shown.kind else ""
    ended = "" if shown.is_current else " Not a current sign-off."
    outcome = need_words.OUTCOMES.get(shown.outcome, words.plain(shown.outcome))
    name = need_words.SKILLS.get(shown.skill, words.plain(shown.skill))
    return words.sentence(name)[:-1], f"{outcome}, {day}{kind}.{ended}"


def _marked(marked: MarkedRefresher, opened: NeedOpened) -> dict[str, object]:
    return {
        "row": marked.row,
        "day": words.short_day(marked.signed_on, opened.context.as_of),
        "caregiver": marked.caregiver_id,
        "skill": need_words.SKILLS.get(marked.skill, words.plain(marked.skill)),
        "outcome": need_words.OUTCOMES.get(marked.outcome, words.plain(marked.outcome)),
        "marked_by": marked.marked_by,
    }


def _form(opened: NeedOpened) -> Markup:
    return render(
        "retraining/form",
        sends=ids.MARK_REFRESHER,
        family=opened.row.family_id,
        reader=opened.context.reader.code,
        caregivers=[(code, code) for code in opened.caregivers],
        caregiver=opened.row.caregiver_id,
        skills=list(need_words.SKILLS.items()),
        today=opened.context.as_of.isoformat(),
        outcomes=need_words.OUTCOMES.items(),
    )


def _other(row: NeedRow, choice: NeedsChoice) -> dict[str, str]:
    family, caregiver, step = row.key
    missed = need_words.missed_words(row.step, row.missed, row.seen)
    return {
        "address": write_needs(
            replace(choice, family_id=family, caregiver_id=caregiver, need=step)
        ),
        "name": f"{words.sentence(row.step_name)[:-1]}, {need_words.who(row)}",
        "text": f"{missed}; probability {need_words.probability(row.prob)}.",
    }
