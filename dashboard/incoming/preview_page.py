"""What files would become, before anything is stored: import them or leave them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboard.incoming.files_page import PATH, counts_of
from dashboard.incoming.views import CellShown, Previewed, SheetShown
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.templates import render
from dashboard.security import csrf
from dashboard.security.roles import FILES, SOURCE

TITLE = "Check before importing"
MOST_COLUMNS = 6
"""Columns that a sheet does not have and that are named."""


def preview_page(found: Previewed) -> str:
    """Columns found, first rows as written and as read, what would be refused and why."""
    content = render(
        "incoming/preview_page",
        title=TITLE,
        found=found,
        answer=answer(found),
        counts=[counts_of(count) for count in found.counts],
        sheets=sheets_shown(found),
        files_address=FILES,
        source_address=SOURCE,
        token=csrf.token(),
    )
    return shell.whole(PATH, found.context, TITLE, content)


def sheets_shown(found: Previewed) -> list[tuple[SheetShown, Sequence[Any], Sequence[str], str]]:
    """Each sheet with its rows, their heads and the columns that it does not have."""
    return [(sheet, _rows(sheet), _heads(sheet), _absent(sheet)) for sheet in found.sheets]


def answer(found: Previewed) -> str:
    """What an import would do, in two or three sentences."""
    sentences = ["Nothing is stored yet."]
    if found.counts:
        new = sum(count.stored for count in found.counts)
        refused = sum(count.refused for count in found.counts)
        read = words.counted(sum(count.read for count in found.counts), "row", "rows")
        rest = f"{words.thousands(refused) if refused else 'none'} would be refused"
        sentences.append(f"Of {read}, {words.thousands(new)} would be new and {rest}.")
    if found.faults:
        files = words.counted(len(found.faults), "file", "files")
        sentences.append(
            f"{files} can't be imported as {'it is' if len(found.faults) == 1 else 'they are'}."
        )
    return " ".join(sentences)


def _heads(sheet: SheetShown) -> Sequence[str]:
    numbers = (f"Row {n}{' (refused)' if refused else ''}" for n, refused in sheet.rows)
    return ("In the file", "Read as", *numbers)


def _rows(sheet: SheetShown) -> list[Sequence[str]]:
    return [
        (column.head, column.meaning, *(_cell(cell) for cell in column.cells))
        for column in sheet.columns
    ]


def _cell(cell: CellShown) -> str:
    """What is written, and what it is read as where that differs."""
    if cell.written is None or cell.read == cell.written:
        return cell.read or ""
    return f"{cell.written} → {cell.read or 'not used'}"


def _absent(sheet: SheetShown) -> str:
    """Columns that the sheet does not have."""
    named = list(sheet.absent)
    if len(named) > MOST_COLUMNS:
        named = [*named[:MOST_COLUMNS], f"{len(named) - MOST_COLUMNS} more"]
    return words.listed(named) if named else ""
