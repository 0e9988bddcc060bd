"""The form to bring files in as a page of its own, and what became of the files."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.incoming.refused_rows import refused_list
from dashboard.incoming.upload_form import bring_in
from dashboard.incoming.views import Bringing, Counts, TakenIn
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.cards import numbers, scrolled
from dashboard.security.roles import PATHS, Page
from dashboard.session.views import PageContext

PATH = PATHS[Page.INCOMING]
HEADS = ("File", "Table", "Read", "New", "Same as before", "Refused", "Doubts")


def form_page(context: PageContext, bringing: Bringing | None, fault: str | None = None) -> str:
    """The form alone, with what was wrong before."""
    if fault is None and bringing is None:
        fault = "This is a look at a past day. Bring files in on today's page."
    return shell.whole(
        PATH,
        context,
        "Bring files in",
        [
            html.H1("Bring files in"),
            *([] if fault is None else [html.P(fault, className="fault", role="alert")]),
            *([] if bringing is None else [html.Section(bring_in(bringing), className="line")]),
            _back(),
        ],
    )


def done_page(done: TakenIn) -> str:
    """What became of each file: the command line's counts and sentences."""
    read = sum(count.read for count in done.counts)
    title = "Nothing was taken in" if done.faults and not done.counts else "Files taken in"
    return shell.whole(
        PATH,
        done.context,
        title,
        [
            html.H1(title),
            html.P(answer(done), className="answer", role="status"),
            *[html.P(fault, className="fault", role="alert") for fault in done.faults],
            *[html.P(note, className="note") for note in done.notes],
            *([_counts(done.counts)] if read or done.counts else []),
            *_refused(done),
            _back(),
        ],
    )


def answer(done: TakenIn) -> str:
    """What went in, in one or two sentences."""
    files = len({count.file for count in done.counts})
    parts = []
    if files:
        stored = sum(count.stored for count in done.counts)
        same = sum(count.same_as_before for count in done.counts)
        refused = sum(count.refused for count in done.counts)
        read = words.counted(sum(count.read for count in done.counts), "row", "rows")
        told = [f"{words.thousands(stored)} new"]
        if same:
            told.append(f"{words.thousands(same)} known before")
        told.append(f"{words.thousands(refused) if refused else 'none'} refused")
        parts.append(f"{words.counted(files, 'file', 'files')}, {read}: {words.listed(told)}.")
    if done.faults:
        what = words.counted(len(done.faults), "file", "files")
        parts.append(f"Nothing of {what} went in: mend what is said below and bring it again.")
    return " ".join(parts)


def _counts(counts: tuple[Counts, ...]) -> Component:
    rows = [
        (
            count.file,
            words.TABLES.get(count.table, count.table),
            *(
                words.thousands(n)
                for n in (
                    count.read,
                    count.stored,
                    count.same_as_before,
                    count.refused,
                    count.doubts,
                )
            ),
        )
        for count in counts
    ]
    table = scrolled("What became of each file", numbers(HEADS, rows))
    return html.Section(table, className="line")


def _refused(done: TakenIn) -> list[Any]:
    left = done.refused_left
    known = sum(count.refused for count in done.counts) - len(done.refused) - left
    stood = html.P(
        [
            f"{words.counted(known, 'refused row was', 'refused rows were')} known before: ",
            html.A("see the list", href=f"{PATH}#refused"),
        ],
        className="note",
    )
    if not done.refused:
        return [stood] if known > 0 else []
    more = [html.P(f"and {words.counted(left, 'more row', 'more rows')} on the list")]
    return [
        html.Section(
            [
                html.H2("Rows to mend"),
                refused_list(done.refused, mends=True),
                *(more if left else []),
                *([stood] if known > 0 else []),
            ],
            className="line",
        )
    ]


def _back() -> Component:
    return html.P(html.A("Go to incoming logs", href=PATH), className="ways screen")
