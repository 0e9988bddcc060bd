"""How is the call list laid out, on a screen, on a phone and on paper?

One table, its rows grouped by band. On a phone the rows become cards and on paper a sheet
with boxes to tick, by style alone; the roles are written out because styles may hide them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import groupby
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.calls import write_choice
from dashboard.call_state.bands import band_mark
from dashboard.call_state.views import CallRow
from dashboard.calls.views import CallsView
from dashboard.layout import words
from dashboard.layout.attributes import aria, current, in_page, keyed
from dashboard.layout.static import Ready, ready

HEADS = ("Order", "Family", "Why", "Overdue", "Last heard", "Nurse and site")
SENTENCES = 2
"""Reasons shown of each family on a screen."""
PAPER_HEADS = ("Outcome", "Agreed, listed again on, initials")
OUTCOMES = ("spoke", "nobody", "aside")
"""Boxes to tick on the sheet."""


CAPTION = "Families in calling order, most urgent first"
RESTING_CAPTION = "Families that wait or are set aside, soonest listed again first"


def closed_rows(view: CallsView) -> Mapping[str, Ready]:
    """The row of each family as it is drawn while another family is opened."""
    return {row.family_id: ready(_row(row, view, None, "")) for row in (*view.rows, *view.resting)}


def call_table(
    rows: tuple[CallRow, ...],
    view: CallsView,
    opened: str | None,
    closed: Mapping[str, Ready],
    caption: str = CAPTION,
) -> Component | None:
    """Rows of the call list, grouped by band; None when there are none."""
    if not rows:
        return None
    groups = []
    for band, of_band in groupby(rows, key=lambda row: row.band):
        groups += [_band_head(band, view), _band_rows(list(of_band), view, opened, closed)]
    heads = [html.Th(h, scope="col", role="columnheader") for h in HEADS]
    heads += [html.Th(h, scope="col", role="columnheader", className="paper") for h in PAPER_HEADS]
    return html.Table(
        [
            html.Caption(caption, className="unseen"),
            html.Thead(html.Tr(heads, role="row"), role="rowgroup"),
            *groups,
            _on_every_sheet(view),
        ],
        role="table",
        className="calls" if caption == CAPTION else "calls resting",
    )


def _on_every_sheet(view: CallsView) -> Component:
    """The cautions as the foot of the table, which paper repeats on each sheet."""
    texts = [words.DEMO] if view.context.demo else []
    cell = html.Td(
        " ".join([*texts, *words.CAUTIONS]), colSpan=len(HEADS) + len(PAPER_HEADS), role="cell"
    )
    return html.Tfoot(html.Tr(cell, role="row"), role="rowgroup", className="paper")


def _band_head(band: str, view: CallsView) -> Component:
    said = words.BANDS[band]
    count = words.counted(view.counts[band], "family", "families")
    meaning: list[Any] = [said.meaning]
    below = sum(row.band == band for row in view.resting)
    if 0 < below < view.counts[band]:
        to = replace(view.choice, band=band, page=1, family_id=None)
        meaning += [" ", html.A(f"Show all {count}", href=write_choice(to), **in_page())]
    return html.Tbody(
        html.Tr(
            html.Th(
                [
                    html.H2([band_mark(band), said.title, html.Span(f" {count}", className="of")]),
                    html.P(meaning),
                ],
                colSpan=len(HEADS) + len(PAPER_HEADS),
                scope="rowgroup",
                role="rowheader",
            ),
            role="row",
        ),
        role="rowgroup",
        className="band-head",
    )


def _band_rows(
    rows: list[CallRow], view: CallsView, opened: str | None, closed: Mapping[str, Ready]
) -> Component:
    # Arrow keys move between rows, so that one stop of the Tab key is enough for all of them.
    shown = [row.family_id for row in (*view.rows, *view.resting)]
    stop = opened if opened is not None and opened in shown else shown[0]
    shown_rows: list[Any] = []
    for row in rows:
        if view.room is not None and row.family_id == view.room.ends_before:
            shown_rows.append(_today_ends(view.room.end_words))
        differs = row.family_id in (opened, stop)
        shown_rows.append(_row(row, view, opened, stop) if differs else closed[row.family_id])
    return html.Tbody(shown_rows, role="rowgroup")


def _today_ends(said: str) -> Component:
    """The place in the list after which today's calls are used up."""
    cell = html.Td(said, colSpan=len(HEADS) + len(PAPER_HEADS), role="cell")
    return html.Tr(cell, role="row", className="today-ends")


def _row(row: CallRow, view: CallsView, opened: str | None, stop: str) -> Component:
    choice = replace(view.choice, family_id=row.family_id)
    is_open = row.family_id == opened
    link = html.A(
        row.family_id,
        href=write_choice(choice),
        tabIndex=0 if row.family_id == stop else -1,
        className="row-link",
        **in_page(opens=True),
        **keyed(row.family_id),
        **current(it_is=is_open),
    )
    return html.Tr(
        [
            html.Td("" if row.rank is None else str(row.rank), role="cell", className="rank"),
            html.Th(link, scope="row", role="rowheader", className="family"),
            html.Td(why(row, view), role="cell", className="why"),
            html.Td(overdue(row), role="cell", className="overdue"),
            html.Td(heard(row, view), role="cell", className="heard"),
            html.Td(
                [
                    *_caller(row),
                    html.Span(words.listed(list(row.sites))),
                ],
                role="cell",
                className="who",
            ),
            html.Td([_box(o) for o in OUTCOMES], role="cell", className="paper outcome"),
            html.Td("", role="cell", className="paper write"),
        ],
        role="row",
        className="open" if is_open else "",
    )


def _caller(row: CallRow) -> list[Component]:
    """Who calls: the person it is assigned to before the nurse of the caseload."""
    own = words.listed(list(row.nurses)) or "no nurse recorded"
    if row.assigned_to is None:
        return [html.Span(own)]
    return [html.B(f"assigned to {row.assigned_to}"), html.Span(own)]


def _box(text: str) -> Component:
    return html.Span([html.I(className="box"), text])


def why(row: CallRow, view: CallsView) -> list[Component]:
    """Reasons as sentences; for a waiting family first how long it waits.

    On a screen the later ones are left to the panel and counted; the sheet has them all.
    """
    said = [words.sentence(s) for s in row.sentences]
    items = [
        html.Li(text, className="paper-item" if at >= SENTENCES else "")
        for at, text in enumerate(said)
    ]
    more = len(said) - SENTENCES
    if more > 0:
        items.append(
            html.Li(f"and {words.counted(more, 'more reason', 'more reasons')}", className="more")
        )
    if row.recheck_on is not None and row.band == "waiting":
        day = words.short_day(row.recheck_on, view.context.as_of)
        items.insert(0, html.Li(html.Strong(f"Waits; listed again from {day}.")))
    if row.recheck_on is not None and row.aside_by is not None:
        day = words.short_day(row.recheck_on, view.context.as_of)
        aside: list[Any] = [
            html.Strong(f"Set aside until {day}"),
            f" by {row.aside_by}: {row.aside_reason}",
        ]
        items.insert(0, html.Li(aside))
    if row.expected is None:
        return [html.Ul(items)]
    return [html.Ul(items), html.P(words.sentence(row.expected), className="expected")]


def overdue(row: CallRow) -> list[Component]:
    """Days overdue; with a silent family what is overdue may be done and not logged."""
    if row.days_overdue <= 0:
        return [
            html.Span("–", className="dash", **aria(hidden="true")),
            html.Span("not overdue", className="unseen"),
        ]
    days = "day" if row.days_overdue == 1 else "days"
    parts = [html.B(str(row.days_overdue)), html.Span(f" {days}")]
    if row.silent:
        parts.append(html.Span("or not logged", className="doubt"))
    return parts


def heard(row: CallRow, view: CallsView) -> list[Component]:
    """When the family was last heard from; silence is said in words."""
    as_of = view.context.as_of
    if row.last_heard_on is None:
        return [html.B("never heard from"), html.Span(f"{row.silent_days} days at home")]
    day = words.short_day(row.last_heard_on, as_of)
    if row.silent:
        return [html.B(f"silent {row.silent_days} days"), html.Span(f"since {day}")]
    return [html.Span(words.ago(row.last_heard_on, as_of)), html.Span(day)]


def pager(view: CallsView) -> Component:
    """Ways to the other pages of a long list."""
    choice = view.choice
    if view.total == 0:
        return html.P("", className="pager")
    first = (choice.page - 1) * choice.per_page + 1
    last = min(choice.page * choice.per_page, view.total)
    said = f"{words.thousands(first)} to {words.thousands(last)} of {words.counted(view.total, 'family', 'families')}"
    ways = []
    for step, name in ((-1, "Earlier"), (1, "Later")):
        if 1 <= choice.page + step <= view.pages:
            to = replace(choice, page=choice.page + step, family_id=None)
            ways.append(html.A(f"{name} families", href=write_choice(to), **in_page()))
    return html.Nav([html.Span(said), *ways], className="pager", **aria(label="Parts of the list"))
