"""What are the parts of the call list made of: its head, its rows, the panel of a family?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import groupby

from markupsafe import Markup

from dashboard.addresses.calls import EVERY_NURSE, Choice, write_choice
from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.call_actions import parts as call_actions
from dashboard.call_actions.views import News
from dashboard.call_state.views import CallRow
from dashboard.calls import words as calls_words
from dashboard.calls.views import CallsView, ContactList, Opened, Reached
from dashboard.layout import words
from dashboard.layout.templates import render
from dashboard.security.roles import CONTACTS, Right

CAPTION = "Families in calling order, most urgent first"
MOST_NAMED = 60
"""Families of a day ahead that are named; of more, their number is shown."""
RESTING_CAPTION = "Waiting and postponed families, earliest day first"


@dataclass(frozen=True)
class Tile:
    """A band with its count, and the address that shows it alone."""

    title: str
    band: str | None
    count: int
    address: str


@dataclass(frozen=True)
class ListedRow:
    """A row of the list, ready to be shown."""

    family_id: str
    html: Markup


@dataclass(frozen=True)
class Group:
    """The rows of one band."""

    band: str
    count: str
    all_address: str | None
    """Shows all families of the band where only some are on the page."""
    rows: tuple[ListedRow, ...]


def head(view: CallsView) -> Markup:
    """The answer, counts by band, capacity, and the filters."""
    first, own = view.first, view.context.reader.caseload
    return render(
        "calls/head",
        view=view,
        calls_words=calls_words,
        first_address=None
        if first is None
        else _address(view.choice, band=None, page=1, family_id=first.family_id),
        tiles=_tiles(view),
        usual_address=_address(Choice(band=view.choice.band)) if _is_filtered(view) else None,
        caseload=None if own is None else _caseload(view, own),
        contacts=_contacts(view),
        filters={
            "nurses": _options(view.nurses, "" if own is None else EVERY_NURSE),
            "sites": _options(view.sites),
            "languages": _options(view.languages),
        },
    )


def _is_filtered(view: CallsView) -> bool:
    """Whether the person chose a part of the list other than the usual one."""
    own = view.context.reader.caseload
    usual = Choice(nurse=own, band=view.choice.band, page=view.choice.page)
    return replace(view.choice, family_id=None) != usual


def _contacts(view: CallsView) -> str | None:
    """Where the list is printed with contacts; None: not for this person."""
    if not view.context.reader.may(Right.CONTACT) or not view.total:
        return None
    return CONTACTS + _address(view.choice, page=1, family_id=None).removeprefix("/")


def _options(values: tuple[str, ...], every: str = "") -> list[tuple[str, str]]:
    return [(every, "All"), *((value, value) for value in values)]


def _tiles(view: CallsView) -> list[Tile]:
    to_call = sum(view.counts[band] for band in words.BANDS_TO_CALL)

    def tile(title: str, band: str | None, count: int) -> Tile:
        address = _address(view.choice, band=band, page=1, family_id=None)
        return Tile(title, band, count, address)

    return [
        tile("All to call", None, to_call),
        *(tile(words.BANDS[band].title, band, n) for band, n in view.counts.items()),
        tile(words.DONE_TITLE, words.DONE, view.done_count),
        tile(words.AHEAD_TITLE, words.AHEAD, view.n_ahead),
    ]


def _caseload(view: CallsView, own: str) -> tuple[str, str]:
    """The way from a nurse's own families to all of them, or back: its address and name."""
    is_own = view.choice.nurse == own
    nurse, name = (EVERY_NURSE, "All nurses") if is_own else (own, "My families")
    return _address(view.choice, nurse=nurse, page=1, family_id=None), name


def closed_rows(view: CallsView) -> Mapping[str, Markup]:
    """The row of each family as it is while another family is open."""
    rows = (*view.rows, *view.resting)
    return {row.family_id: _row(row, view, is_open=False, stop=False) for row in rows}


def done(view: CallsView) -> Markup:
    """The calls done today; nothing where another part of the list is shown."""
    if not view.done and view.choice.band != words.DONE:
        return Markup("")
    return render(
        "calls/done",
        view=view,
        calls_words=calls_words,
        all_address=_address(view.choice, band=words.DONE, page=1, family_id=None),
        calls=[(call, _address(view.choice, family_id=call.family_id)) for call in view.done],
    )


def ahead(view: CallsView) -> Markup:
    """The next 14 days."""

    def ways(codes: tuple[str, ...]) -> list[tuple[str, str]]:
        return [(code, _address(view.choice, family_id=code)) for code in codes]

    return render(
        "calls/ahead",
        n_due=view.n_ahead,
        most_named=MOST_NAMED,
        days=[(day, ways(day.due), ways(day.back), ways(day.kits)) for day in view.ahead],
    )


def rows(
    view: CallsView, opened: str | None, closed: Mapping[str, Markup], calls_done: Markup
) -> Markup:
    """The rows of a choice by band, the families that wait below them, and the calls done."""
    choice = view.choice
    steps = ((choice.page - 1, "Earlier families"), (choice.page + 1, "Later families"))
    return render(
        "calls/list",
        view=view,
        calls_words=calls_words,
        to_call={"caption": CAPTION, "groups": _groups(view.rows, view, opened, closed)},
        resting={"caption": RESTING_CAPTION, "groups": _groups(view.resting, view, opened, closed)},
        pages=[
            (_address(choice, page=page, family_id=None), name)
            for page, name in steps
            if 1 <= page <= view.pages
        ],
        per_page=[(str(n), str(n)) for n in words.PER_PAGE],
        done=ahead(view) if choice.band == words.AHEAD else calls_done,
    )


def _groups(
    listed: tuple[CallRow, ...],
    view: CallsView,
    opened: str | None,
    closed: Mapping[str, Markup],
    *,
    stops: bool = True,
) -> list[Group]:
    # Arrow keys move between rows, so that one stop of the Tab key is enough for all of them.
    shown = [row.family_id for row in (*view.rows, *view.resting)]
    stop = opened if opened in shown else next(iter(shown), None)

    def html(row: CallRow) -> Markup:
        if not stops or row.family_id not in (opened, stop):
            return closed[row.family_id]
        return _row(row, view, is_open=row.family_id == opened, stop=row.family_id == stop)

    groups = []
    for band, of_band in groupby(listed, key=lambda row: row.band):
        below = sum(row.band == band for row in view.resting)
        is_cut = 0 < below < view.counts[band]
        groups.append(
            Group(
                band,
                words.counted(view.counts[band], "family", "families"),
                _address(view.choice, band=band, page=1, family_id=None) if is_cut else None,
                tuple(ListedRow(row.family_id, html(row)) for row in of_band),
            )
        )
    return groups


def _row(
    row: CallRow, view: CallsView, *, is_open: bool, stop: bool, reach: Reached | None = None
) -> Markup:
    return render(
        "calls/row",
        row=row,
        as_of=view.context.as_of,
        address=_address(view.choice, family_id=row.family_id),
        open=is_open,
        stop=stop,
        reach=reach,
        calls_words=calls_words,
    )


def with_contacts(found: ContactList) -> Markup:
    """The list to print with contact and language of each family."""
    view = found.view
    closed = {
        row.family_id: _row(
            row, view, is_open=False, stop=False, reach=found.reached[row.family_id]
        )
        for row in view.rows
    }
    return render(
        "calls/contacts",
        title=f"Calls for {words.long_day(view.context.as_of)}, with contacts",
        back=_address(view.choice),
        view=view,
        calls_words=calls_words,
        to_call={"caption": CAPTION, "groups": _groups(view.rows, view, None, closed, stops=False)},
    )


def panel(opened: Opened, choice: Choice, news: News | None) -> Markup:
    """The panel of one family."""
    after = opened.next_family_id
    following = None if after is None else (_address(choice, family_id=after), after)
    return render(
        "calls/panel",
        opened=opened,
        message=call_actions.message(opened, news, following),
        recorded=call_actions.recorded(opened),
        record=call_actions.record(opened),
        arrange=call_actions.arrange(opened),
        next_address=None if following is None else following[0],
        back_address=_address(choice, family_id=None),
        history_address=family_address(
            opened.row.family_id, FamilyChoice(opened_from=_address(choice, family_id=None))
        ),
        calls_words=calls_words,
    )


def no_panel(*, asked: bool) -> Markup:
    """The panel where no family is open; `asked`: one was asked for that there is not."""
    return render("calls/no_panel", asked=asked)


def _address(choice: Choice, **changes: object) -> str:
    return write_choice(replace(choice, **changes))  # type: ignore[arg-type]
