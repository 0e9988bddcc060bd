"""How is the list of needs laid out: family, caregiver and step, most certain first?

The table is that of the call list: cards on a phone, the same keys to move in it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import groupby

from markupsafe import Markup

from dashboard.addresses.retraining import write_needs
from dashboard.layout import words
from dashboard.layout.templates import render
from dashboard.layout.words import percent
from dashboard.retraining import words as need_words
from dashboard.retraining.dated_card import Sessions
from dashboard.retraining.views import NeedRow, NeedsView

Key = tuple[str, str | None, str | None]


def need_table(view: NeedsView, as_of: date, opened: Key | None, sessions: Sessions) -> Markup:
    """The rows of the chosen page, grouped by certainty, and links to the other pages."""
    start = (view.choice.page - 1) * view.choice.per_page + 1
    keys = [row.key for row in view.rows]
    in_tab_order = opened if opened in keys else keys[0]
    groups = []
    for sureness, rows in groupby(enumerate(view.rows, start), key=lambda r: r[1].sureness):
        level = need_words.SURENESS[sureness]
        groups.append(
            {
                "title": level.title,
                "meaning": level.meaning,
                "strokes": need_words.STROKES[sureness],
                "count": need_words.pairs(view.counts[sureness]),
                "rows": [
                    {
                        **_row(row, view, as_of),
                        "invited": _invited(row, as_of, sessions),
                        "rank": rank,
                        "is_open": row.key == opened,
                        "in_tab_order": row.key == in_tab_order,
                    }
                    for rank, row in rows
                ],
            }
        )
    return render("retraining/list", groups=groups, **_pages(view))


def _row(row: NeedRow, view: NeedsView, as_of: date) -> dict[str, object]:
    missed = need_words.missed_words(row.step, row.missed, row.seen)
    return {
        "address": need_address(view, row),
        "key": " ".join(str(part) for part in row.key),
        "family": row.family_id,
        "who": need_words.who(row),
        "caregiver": row.caregiver_id or need_words.NOT_NAMED,
        "step": row.step_name,
        "missed": words.sentence(_since(row) or missed),
        "rate": f"Adjusted rate {percent(row.share)} (limit {percent(row.limit)}).",
        "probability": need_words.probability(row.prob),
        "refreshed": need_words.refreshed(row, as_of),
        "sites": words.listed(list(row.sites)),
    }


def _invited(row: NeedRow, as_of: date, sessions: Sessions) -> str:
    """Days of sessions ahead to which the caregiver is invited."""
    ahead = [s for s in sessions if s.held_on >= as_of and not s.cancelled]
    days = [
        words.short_day(s.held_on, as_of)
        for s in ahead
        if s.invites(row.family_id, row.caregiver_id)
    ]
    return f"Invited {words.listed(days)}" if days else ""


def _since(row: NeedRow) -> str:
    """What was missed since a refresher and before it, where the list asks to watch."""
    return need_words.how_sure(row) if row.sureness in ("watch", "improved") else ""


def need_address(view: NeedsView, row: NeedRow) -> str:
    """Address of the page with a row opened."""
    family, caregiver, step = row.key
    return write_needs(replace(view.choice, family_id=family, caregiver_id=caregiver, need=step))


def _pages(view: NeedsView) -> dict[str, object]:
    """Links to the other pages of a long list."""
    choice = view.choice
    first = (choice.page - 1) * choice.per_page + 1
    last = min(choice.page * choice.per_page, view.total)
    return {
        "range": f"{words.thousands(first)} to {words.thousands(last)} of "
        f"{need_words.pairs(view.total)}",
        "pages": [
            (text, write_needs(replace(choice, page=choice.page + step, family_id=None)))
            for step, text in ((-1, "More certain needs"), (1, "Less certain needs"))
            if 1 <= choice.page + step <= view.pages
        ],
    }
