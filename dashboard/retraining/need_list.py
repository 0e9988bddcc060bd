"""How is the list of needs laid out: family, caregiver and step, the surest first?

The table is that of the call list: cards on a phone, the same keys to move in it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import groupby

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.retraining import write_needs
from dashboard.layout import words
from dashboard.layout.attributes import aria, current, in_page, keyed
from dashboard.layout.words import percent
from dashboard.retraining import words as need_words
from dashboard.retraining.views import NeedRow, NeedsView

HEADS = ("Order", "Family and caregiver", "Step and what was missed", "Above the limit", "Last refresher", "Site")  # fmt: skip


def sureness_mark(sureness: str) -> Component:
    """Upright strokes that tell the sureness without colour; hidden from screen readers."""
    strokes = [html.I() for _ in range(need_words.STROKES[sureness])]
    return html.Span(strokes, className="strokes", **aria(hidden="true"))


def need_table(
    view: NeedsView, as_of: date, opened: tuple[str, str | None, str] | None
) -> Component:
    """The rows of the chosen page, grouped by sureness."""
    start = (view.choice.page - 1) * view.choice.per_page + 1
    keys = [row.key for row in view.rows]
    stop = opened if opened in keys else keys[0]
    groups: list[Component] = []
    for sureness, rows in groupby(enumerate(view.rows, start), key=lambda r: r[1].sureness):
        groups.append(_group_head(sureness, view))
        groups.append(
            html.Tbody(
                [_row(at, row, view, as_of, opened, stop) for at, row in rows], role="rowgroup"
            )
        )
    heads = [html.Th(h, scope="col", role="columnheader") for h in HEADS]
    return html.Table(
        [
            html.Caption("Families, caregivers and steps, the surest first", className="unseen"),
            html.Thead(html.Tr(heads, role="row"), role="rowgroup"),
            *groups,
        ],
        role="table",
        className="calls needs",
        id="need-table",
    )


def _group_head(sureness: str, view: NeedsView) -> Component:
    said = need_words.SURENESS[sureness]
    count = words.counted(view.counts[sureness], "caregiver and step", "caregivers and steps")
    return html.Tbody(
        html.Tr(
            html.Th(
                [
                    html.H2(
                        [
                            sureness_mark(sureness),
                            said.title,
                            html.Span(f" {count}", className="of"),
                        ]
                    ),
                    html.P(said.meaning),
                ],
                colSpan=len(HEADS),
                scope="rowgroup",
                role="rowheader",
            ),
            role="row",
        ),
        role="rowgroup",
        className="band-head",
    )


def _row(
    at: int,
    row: NeedRow,
    view: NeedsView,
    as_of: date,
    opened: tuple[str, str | None, str] | None,
    stop: tuple[str, str | None, str],
) -> Component:
    is_open = row.key == opened
    link = html.A(
        [row.family_id, html.Span(f", {need_words.who(row)}: {row.step_name}", className="unseen")],
        href=need_address(view, row),
        tabIndex=0 if row.key == stop else -1,
        className="row-link",
        **in_page(opens=True),
        **keyed(" ".join(str(part) for part in row.key)),
        **current(it_is=is_open),
    )
    caregiver = html.Span(row.caregiver_id or need_words.NOT_SAID, className="caregiver")
    cells = [
        html.Td(str(at), role="cell", className="rank"),
        html.Th([link, caregiver], scope="row", role="rowheader", className="family"),
        html.Td(missed(row), role="cell", className="why"),
        html.Td(
            [html.B(need_words.probability(row.prob)), html.Span("probability", className="doubt")],
            role="cell",
            className="overdue",
        ),
        html.Td(need_words.refreshed(row, as_of), role="cell", className="heard"),
        html.Td(words.listed(list(row.sites)), role="cell", className="who"),
    ]
    return html.Tr(cells, role="row", className="open" if is_open else "")


def missed(row: NeedRow) -> list[Component]:
    """The step by name, what was missed of how much, and the drawn share beside its limit."""
    counted = need_words.missed_words(row.step, row.missed, row.seen)
    return [
        html.Strong(words.sentence(row.step_name)[:-1]),
        html.P(f"{words.sentence(counted)[:-1]}."),
        html.P(
            f"Drawn share {percent(row.share)}, limit {percent(row.limit)}.", className="expected"
        ),
    ]


def need_address(view: NeedsView, row: NeedRow) -> str:
    """Address of the page with a row opened."""
    family, caregiver, step = row.key
    return write_needs(replace(view.choice, family_id=family, caregiver_id=caregiver, need=step))


def pager(view: NeedsView) -> Component:
    """Ways to the other pages of a long list."""
    choice = view.choice
    first = (choice.page - 1) * choice.per_page + 1
    last = min(choice.page * choice.per_page, view.total)
    whole = words.counted(view.total, "caregiver and step", "caregivers and steps")
    ways = []
    for step, name in ((-1, "Surer"), (1, "Less sure")):
        if 1 <= choice.page + step <= view.pages:
            to = replace(choice, page=choice.page + step, family_id=None)
            ways.append(html.A(f"{name} needs", href=write_needs(to), **in_page()))
    said = f"{words.thousands(first)} to {words.thousands(last)} of {whole}"
    return html.Nav([html.Span(said), *ways], className="pager", **aria(label="Parts of the list"))
