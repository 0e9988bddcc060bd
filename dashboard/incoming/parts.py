"""What are the parts of the page of incoming data made of?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

import pandas as pd
from markupsafe import Markup

from dashboard.addresses.incoming import IncomingChoice, incoming_address
from dashboard.incoming import words as incoming_words
from dashboard.incoming.queries.received import OWN_FORM
from dashboard.incoming.views import Bringing, CauseChoice, FileRow, IncomingView, Paged
from dashboard.layout import words
from dashboard.layout.templates import render
from dashboard.layout.words import percent
from dashboard.security.roles import CAUSE, ENTRY, FILES, REFUSED, STARTER

TITLE = "Data in"
MOST_KINDS = 6
"""Up to so many refused rows show at a glance what is wrong."""


def page(view: IncomingView, choice: IncomingChoice, token: str) -> Markup:
    """What came in and which rows to correct; `token` is that of the form to import files."""
    of_sites = view.context.reader.sites is not None
    return render(
        "incoming/page",
        title=TITLE,
        view=view,
        incoming_words=incoming_words,
        kinds=_kinds(view),
        causes=[(one, _cause_address(one)) for one in view.causes],
        starter_address=STARTER,
        downloads=[(table, f"{REFUSED}{table}.csv", n) for table, n in view.to_download],
        refused_pages=_pages(view.refused_paged, choice, "refused", ("row", "rows")),
        file_heads=_file_heads(of_sites=of_sites),
        files=[_file(row, of_sites=of_sites) for row in view.files],
        files_pages=_pages(view.files_paged, choice, "files", ("row", "rows")),
        **upload(view.bringing, token),
    )


def upload(bringing: Bringing | None, token: str) -> dict[str, Any]:
    """What the form to import files names; `upload` None: this person may import none."""
    known = None
    if bringing is not None:
        known = {
            "profiles": bringing.profiles,
            "most_bytes": bringing.most_bytes,
            "most": incoming_words.megabytes(bringing.most_bytes),
            "own_form": OWN_FORM,
        }
    return {"upload": known, "files_address": FILES, "token": token}


def _cause_address(one: CauseChoice) -> str:
    asked = {"table": one.table, "column": one.column, "reason": one.reason}
    return f"{CAUSE}?{urlencode({**asked, 'value': one.value or ''})}"


def _kinds(view: IncomingView) -> list[Sequence[str]]:
    """What is wrong most often; left out where the list itself shows it at a glance."""
    if view.refused_paged.total <= MOST_KINDS:
        return []
    return [
        (words.TABLES.get(table, table), column or "whole row", what, words.thousands(n))
        for table, column, what, n in view.refused_kinds
    ]


def _pages(
    paged: Paged, choice: IncomingChoice, part: str, what: tuple[str, str]
) -> dict[str, Any] | None:
    """Links to the pages next to the one shown; None for a single page."""
    if paged.pages == 1:
        return None
    steps = ((f"Newer {what[1]}", paged.page - 1), (f"Older {what[1]}", paged.page + 1))
    return {
        "counted": f"Page {paged.page} of {paged.pages}, {words.counted(paged.total, *what)}",
        "links": [
            (incoming_address(replace(choice, **{part: page}), part), text)
            for text, page in steps
            if 1 <= page <= paged.pages
        ],
    }


def _file_heads(*, of_sites: bool) -> Sequence[str]:
    counts = ("Read", "New", "Same as before", "Refused", "Doubts")
    if of_sites:
        counts = ("Rows of your sites",)  # type: ignore[assignment]  # one count in place of five
    return ("File", *counts, "Received", "Imported by", "Table", "Source")


def _file(row: FileRow, *, of_sites: bool) -> Sequence[str]:
    counts: Sequence[int | None] = (
        row.read,
        row.stored,
        row.same_as_before,
        row.refused,
        row.doubts,
    )
    if of_sites:
        counts = (row.stored,)
    return (
        row.file,
        *("–" if n is None else words.thousands(n) for n in counts),
        words.moment(row.received_at),
        row.brought_by or "command line",
        words.TABLES.get(row.table or "", row.table or "none in it"),
        row.source,
    )


DELAY_HEADS = (
    "Source",
    "Entries",
    "Half within",
    "Nine in ten within",
    "Later than a week",
    "Last week in so far",
    "Last received",
    "Nothing for",
)


def delays(view: IncomingView) -> Markup:
    """What is shown under the chart of delays: its reading, a note, the same as a table."""
    return render(
        "incoming/delays",
        reading=incoming_words.how_late(view.delays),
        note=incoming_words.DELAY_NOTE,
        heads=DELAY_HEADS,
        rows=[_delay(row) for row in view.delays.to_dict("records")],
    )


def _delay(row: dict[Any, Any]) -> Sequence[str]:
    def days(n: Any) -> str:
        return "–" if pd.isna(n) else words.counted(int(n), "day", "days")

    late = "–"
    if row["entries"]:
        share = percent(row["later_than_week_share"])
        late = f"{words.thousands(row['later_than_week'])} ({share})"
    complete = row["last_week_completeness"]
    return (
        row["name"],
        words.thousands(row["entries"]),
        days(row["median_days"]),
        days(row["nine_in_ten_days"]),
        late,
        percent(complete) if pd.notna(complete) else "too few to estimate",
        words.day_year(row["last_received_on"].date()),
        days(row["quiet_days"]),
    )


def doubts(view: IncomingView, token: str) -> Markup:
    """Rows in force that are usable but unusual, by kind; `token` is that of the forms there."""
    return render(
        "incoming/doubts",
        view=view,
        total=sum(kind.total for kind in view.doubts),
        entry_address=ENTRY,
        token=token,
    )
