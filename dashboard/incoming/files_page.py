"""The form to import files as a page of its own, and what became of the files."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.incoming import parts
from dashboard.incoming.views import Bringing, Counts, TakenIn
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.templates import render
from dashboard.security import csrf
from dashboard.security.roles import PATHS, SOURCE, Page
from dashboard.session.views import PageContext

PATH = PATHS[Page.INCOMING]


def form_page(context: PageContext, bringing: Bringing | None, fault: str | None = None) -> str:
    """The form alone, with what was wrong before."""
    if fault is None and bringing is None:
        fault = "This page shows an earlier day. Import files on today's page."
    content = render("incoming/form_page", fault=fault, **parts.upload(bringing, csrf.token()))
    return shell.whole(PATH, context, "Import files", content)


def done_page(done: TakenIn) -> str:
    """What became of each file: the command line's counts and sentences."""
    title = "Nothing was imported" if done.faults and not done.counts else "Files imported"
    known = sum(count.refused for count in done.counts) - len(done.refused) - done.refused_left
    content = render(
        "incoming/done_page",
        title=title,
        done=done,
        answer=answer(done),
        counts=[counts_of(count) for count in done.counts],
        known=known,
        source_address=SOURCE,
        token=csrf.token(),
    )
    return shell.whole(PATH, done.context, title, content)


def answer(done: TakenIn) -> str:
    """What was imported, in one or two sentences."""
    files = len({count.file for count in done.counts})
    sentences = []
    if files:
        stored = sum(count.stored for count in done.counts)
        same = sum(count.same_as_before for count in done.counts)
        refused = sum(count.refused for count in done.counts)
        read = words.counted(sum(count.read for count in done.counts), "row", "rows")
        counts = [f"{words.thousands(stored)} new"]
        if same:
            counts.append(f"{words.thousands(same)} known before")
        counts.append(f"{words.thousands(refused) if refused else 'none'} refused")
        sentences.append(
            f"{words.counted(files, 'file', 'files')}, {read}: {words.listed(counts)}."
        )
    if done.faults:
        one = len(done.faults) == 1
        which = (
            "One file was" if one else f"{words.counted(len(done.faults), 'file', 'files')} were"
        )
        sentences.append(
            f"{which} not imported: correct what is wrong below and import "
            f"{'it' if one else 'them'} again."
        )
    return " ".join(sentences)


def counts_of(count: Counts) -> Sequence[str]:
    """A row of the table of counts."""
    numbers = (count.read, count.stored, count.same_as_before, count.refused, count.doubts)
    table = words.TABLES.get(count.table, count.table)
    return (count.file, table, *(words.thousands(n) for n in numbers))
