"""What arrived, from where and how late; what waits to be mended; what is odd?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
from dash import html
from dash.development.base_component import Component

from dashboard.addresses.incoming import IncomingChoice, incoming_address, read_incoming
from dashboard.evidence.source_rows import source_row, where_from
from dashboard.figures import days_to_receipt
from dashboard.incoming import words as incoming_words
from dashboard.incoming.queries import IncomingQueries
from dashboard.incoming.refused_rows import refused_list
from dashboard.incoming.upload_form import bring_in
from dashboard.incoming.views import DoubtKind, FileRow, IncomingView, Paged
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.cards import drawn, folded, numbers, scrolled
from dashboard.layout.drawn import drawn as as_sent
from dashboard.layout.static import static
from dashboard.layout.words import percent
from dashboard.security.roles import PATHS, REFUSED, Page
from dashboard.session.session import Session

PATH = PATHS[Page.INCOMING]
TITLE = "Incoming logs"
MOST_KINDS = 6
LATE = (PATH, "late")
"""The section with a figure, which is the same under every choice and for every role."""


def layout(session: Session, search: str | None) -> list[Component]:
    """The page under the choice in its address."""
    queries = IncomingQueries(session)
    choice = read_incoming(search)
    view = queries.incoming(choice)
    return shell.page(
        PATH,
        view.context,
        [
            static(
                html.H1(TITLE),
                html.P(incoming_words.answer(view), className="answer"),
                html.P(_who_sees(view), className="whole"),
                _bring_in(view),
                _refused(view, choice),
                _arrived(view, choice),
            ),
            queries.session.cached(
                LATE, lambda: as_sent(_late(queries.incoming(choice))), lasting=True
            ),
            static(_doubts(view)),
        ],
    )


def _who_sees(view: IncomingView) -> str:
    return (
        incoming_words.OF_ALL_SITES
        if view.context.reader.sites is None
        else incoming_words.OF_SITES
    )


def _section(name: str, title: str, *parts: Any) -> Component:
    return html.Section([html.H2(title), *parts], className="line", id=name)


def _pager(paged: Paged, choice: IncomingChoice, part: str, what: tuple[str, str]) -> Any:
    """Ways to the pages beside the one shown."""
    if paged.pages == 1:
        return None
    ways = [
        html.A(text, href=incoming_address(_turned(choice, part, paged.page + step), part))
        for text, step in ((f"Newer {what[1]}", -1), (f"Older {what[1]}", 1))
        if 1 <= paged.page + step <= paged.pages
    ]
    told = f"Page {paged.page} of {paged.pages}, {words.counted(paged.total, *what)}"
    return html.P([html.Span(told), *ways], className="pager")


def _turned(choice: IncomingChoice, part: str, page: int) -> IncomingChoice:
    return IncomingChoice(**{**vars(choice), part: page})


# Bring files in


def _bring_in(view: IncomingView) -> Component | None:
    if view.bringing is None:
        return None
    return _section("bring-in", "Bring files in", bring_in(view.bringing))


# Rows to mend


def _refused(view: IncomingView, choice: IncomingChoice) -> Component:
    total = view.refused_paged.total
    if total == 0:
        return _section("refused", "Rows to mend", html.P("No row waits to be mended."))
    return _section(
        "refused",
        "Rows to mend",
        html.P(
            f"{words.counted(total, 'row', 'rows')} could not be used and "
            f"{'is' if total == 1 else 'are'} kept whole. The rest of each file went in.",
            className="summary",
        ),
        _kinds(view),
        _downloads(view),
        *([] if view.sees_rows else [html.P(incoming_words.NOT_THE_ROWS, className="note")]),
        refused_list(view.refused, mends=view.mends),
        _pager(view.refused_paged, choice, "refused", ("row", "rows")),
    )


def _kinds(view: IncomingView) -> Any:
    """What is wrong most often; left out where the list itself says it at a glance."""
    kinds = view.refused_kinds
    if view.refused_paged.total <= MOST_KINDS:
        return None
    rows = [
        (words.TABLES.get(table, table), column or "whole row", said, words.thousands(n))
        for table, column, said, n in kinds
    ]
    return html.Details(
        [
            html.Summary(f"What is wrong, by kind: {len(kinds)}"),
            scrolled(
                "Refused rows by kind",
                numbers(("Table", "Column", "What is wrong", "Rows"), rows),
            ),
        ],
        className="same",
    )


def _downloads(view: IncomingView) -> Any:
    if not view.to_download:
        return None
    ways: list[Any] = ["Download to mend in a spreadsheet: "]
    for at, (table, n) in enumerate(view.to_download):
        told = f"{table}.csv"
        ways += [
            ", " if at else "",
            html.A(told, href=f"{REFUSED}{table}.csv", download=told),
            f" ({words.counted(n, 'row', 'rows')})",
        ]
    ways.append(
        ". Correct the rows and bring the file in again: each takes its refused row off the list. "
        "A row with void set to yes is only taken off."
    )
    return html.P(ways, className="note screen")


# What arrived


def _arrived(view: IncomingView, choice: IncomingChoice) -> Component:
    if not view.files:
        return _section("files", "What arrived", html.P("No file has come in yet."))
    of_sites = view.context.reader.sites is not None
    counts = (
        ("Rows of your sites",)
        if of_sites
        else ("Read", "New", "Same as before", "Refused", "Doubts")
    )
    rows = [
        (
            row.file,
            *_counts(row, of_sites=of_sites),
            incoming_words.moment(row.received_at),
            row.brought_by or "command line",
            words.TABLES.get(row.table or "", row.table or "none in it"),
            row.source,
        )
        for row in view.files
    ]
    return _section(
        "files",
        "What arrived",
        html.P("Files and the tables in them, newest first.", className="summary"),
        scrolled(
            "Files that came in",
            numbers(("File", *counts, "Received", "Brought by", "Table", "Source"), rows),
        ),
        _pager(view.files_paged, choice, "files", ("row", "rows")),
    )


def _counts(row: FileRow, *, of_sites: bool) -> Sequence[str]:
    if of_sites:
        return (words.thousands(row.stored),)
    counts = (row.read, row.stored, row.same_as_before, row.refused, row.doubts)
    return ["–" if n is None else words.thousands(n) for n in counts]


# How late


def _late(view: IncomingView) -> Component:
    title = "How late does it come in?"
    reading = incoming_words.how_late(view.delays)
    parts: list[Any] = [static(html.H2(title))]
    if len(view.delays):
        parts.append(drawn(days_to_receipt(view.delays), f"{title} {reading}"))
    parts.append(
        static(
            html.P(reading, className="summary"),
            html.P(incoming_words.DELAY_NOTE, className="note"),
            folded("Days to receipt by source", _delay_table(view.delays))
            if len(view.delays)
            else None,
        )
    )
    return html.Section(parts, className="line figure-card", id="late")


def _delay_table(delays: pd.DataFrame) -> Component:
    heads = (
        "Source",
        "Entries",
        "Half within",
        "Nine in ten within",
        "Later than a week",
        "Last week in so far",
        "Last received",
        "Quiet for",
    )
    rows = [_delay_row(row) for row in delays.to_dict("records")]
    return numbers(heads, rows)


def _delay_row(row: dict[Any, Any]) -> tuple[str, ...]:
    def days(n: Any) -> str:
        return "–" if pd.isna(n) else words.counted(int(n), "day", "days")

    late = row["later_than_week"]
    return (
        row["name"],
        words.thousands(row["entries"]),
        days(row["median_days"]),
        days(row["nine_in_ten_days"]),
        f"{words.thousands(late)} ({percent(row['later_than_week_share'])})"
        if row["entries"]
        else "–",
        percent(row["last_week_completeness"])
        if pd.notna(row["last_week_completeness"])
        else "too few to tell",
        words.day_year(row["last_received_on"].date()),
        days(row["quiet_days"]),
    )


# Doubts


def _doubts(view: IncomingView) -> Component:
    if not view.doubts:
        return _section("doubts", "Doubts", html.P("No row in force is odd."))
    total = sum(kind.total for kind in view.doubts)
    return _section(
        "doubts",
        "Doubts",
        html.P(
            f"{words.counted(total, 'doubt', 'doubts')} about rows that went in: usable but odd. "
            "They count as they stand until a corrected row comes in.",
            className="summary",
        ),
        *[_kind(kind, sees=view.sees_rows) for kind in view.doubts],
    )


def _kind(kind: DoubtKind, *, sees: bool) -> Component:
    more = kind.total - len(kind.rows)
    return html.Details(
        [
            html.Summary(f"{words.thousands(kind.total)} · {words.sentence(kind.said)[:-1]}"),
            *(
                [source_row(row, level="h3") for row in kind.rows]
                if sees
                else [
                    html.Ul([html.Li(where_from(row)) for row in kind.rows], className="readings")
                ]
            ),
            *([html.P(f"and {words.thousands(more)} older", className="note")] if more else []),
        ],
        className="doubt-kind",
    )
