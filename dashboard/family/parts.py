"""What are the parts of a family's page made of?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from markupsafe import Markup

from dashboard.addresses.calls import Choice, write_choice
from dashboard.addresses.families import FAMILIES
from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.call_actions import parts as call_actions
from dashboard.call_actions.views import Acts, News
from dashboard.family import words as family_words
from dashboard.family.history import LATE_DAYS
from dashboard.family.views import FamilyView, LineView
from dashboard.family_lists.queries import Neighbours
from dashboard.layout import ids, words
from dashboard.layout.templates import render

TIMES = {"weeks": "8 weeks", "months": "6 months", "all": "all"}


def on_list(view: FamilyView, at: Neighbours | None, *, back: bool) -> Markup:
    """The way back to the list, and to the families before and after on it."""
    opened_from = view.choice.opened_from
    if opened_from is None and back:
        opened_from = write_choice(Choice(family_id=view.family_id))
    is_calls = opened_from is not None and not opened_from.startswith(FAMILIES)
    return render(
        "family/on_list",
        back_address=opened_from,
        list_name="call list" if is_calls else "list of families",
        at=at,
        before=_next_to(view, None if at is None else at.before),
        after=_next_to(view, None if at is None else at.after),
    )


def _next_to(view: FamilyView, family_id: str | None) -> tuple[str, str] | None:
    if family_id is None:
        return None
    choice = FamilyChoice(opened_from=view.choice.opened_from)
    return family_address(family_id, choice), family_id


def acts(acts: Acts, view: FamilyView, at: Neighbours | None, news: News | None) -> Markup:
    """What was recorded of the family, and the forms to record more."""
    prefix = ids.OF_FAMILY_PAGE
    return render(
        "family/acts",
        message=call_actions.message(
            acts, news, _next_to(view, None if at is None else at.after), prefix, in_page=False
        ),
        recorded=call_actions.recorded(acts, prefix),
        record=call_actions.record(acts, prefix),
        arrange=call_actions.arrange(acts, prefix),
    )


def head(view: FamilyView, *, acts: bool) -> Markup:
    """Who the family is, why it is called, and the state of its lines; `acts`: forms are below."""
    ended = [line for line in view.lines if line.state == "ended"]
    as_of = view.as_of
    return render(
        "family/head",
        view=view,
        acts=acts,
        earlier=earlier_day(view.family_id, view.choice, view.now),
        facts=family_words.facts(view),
        lines=[
            {
                "line_id": line.line_id,
                "kind": family_words.line_kind(line),
                "about": family_words.line_about(line, as_of),
                "summary": family_words.line_summary(line, as_of),
            }
            for line in view.lines
            if line not in ended
        ],
        ended=words.listed([family_words.line_ended(line, as_of) for line in ended]),
        day_form=day_form(view.family_id, view.choice, view.now),
    )


def not_known(family_id: str, choice: FamilyChoice, day: date, now: date) -> Markup:
    """A page of an earlier day on which no line of the family was known."""
    return render(
        "family/not_known",
        family_id=family_id,
        day=day,
        earlier=earlier_day(family_id, choice, now),
        day_form=day_form(family_id, choice, now),
    )


def day_form(family_id: str, choice: FamilyChoice, now: date) -> Markup:
    """A day to choose."""
    address = family_address(family_id)
    return render("family/day_form", choice=choice, now=now, address=address)


def earlier_day(family_id: str, choice: FamilyChoice, now: date) -> Markup:
    """What a page of an earlier day shows above everything else; nothing on the page of today."""
    today = family_address(family_id, replace(choice, known_on=None, page=1))
    return render("family/earlier_day", choice=choice, now=now, today_address=today)


def times(view: FamilyView) -> Markup:
    """The heading of the chart, and the times to choose from."""
    choices = [
        (family_address(view.family_id, replace(view.choice, time=time, page=1)), time, name)
        for time, name in TIMES.items()
    ]
    return render("family/times", times=choices, chosen=view.choice.time)


def lines_shown(view: FamilyView) -> list[LineView]:
    """Lines that had not ended before the first day shown."""
    return [line for line in view.lines if line.end_on is None or line.end_on > view.first]


def caption(view: FamilyView) -> Markup:
    """How the chart is read, and which lines it leaves out."""
    left_out = [line.line_id for line in view.lines if line not in lines_shown(view)]
    return render("family/caption", late_days=LATE_DAYS, left_out=left_out)


def history(view: FamilyView) -> Markup:
    """The marks and spans of the chart as a table, newest first."""
    rows = [
        {
            "day": family_words.days(row.on, row.until),
            "group": row.group,
            "label": family_words.cut(row.label),
            "received": family_words.received(row.on, row.received_on),
            "table": row.table,
            "number": row.row,
        }
        for row in view.table
    ]
    steps = ((view.choice.page - 1, "Newer"), (view.choice.page + 1, "Older"))
    return render(
        "family/history",
        view=view,
        rows=rows,
        counted=f"{words.counted(view.table_rows, 'row', 'rows')} in the time shown",
        pages=[
            (family_address(view.family_id, replace(view.choice, page=page)), name)
            for page, name in steps
            if 1 <= page <= view.pages
        ],
    )


def people(view: FamilyView, *, calls: bool) -> Markup:
    """Who cares for the line, and the calls recorded where they are not shown with the forms."""
    known = [family_words.caregiver(person, view.as_of) for person in view.caregivers]
    return render("family/people", view=view, people=known, calls=calls)
