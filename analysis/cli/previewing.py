"""How is a preview of files shown: a page of short tables on a terminal, else one long table?"""

from __future__ import annotations

import sys
from collections.abc import Iterator

import pandas as pd

from analysis.cli.options.shared import Format, Output
from analysis.cli.output import show, write
from analysis.ingest.preview import Cause, CellPreview, HeadMatch, Preview, SheetPreview

COLUMNS = (
    "file",
    "sheet",
    "table",
    "part",
    "row",
    "head",
    "column",
    "written",
    "read",
    "rows",
    "why",
)
"""One row a count, head, cell of the first rows, cause of refusal or doubt, by its `part`."""
SHOWN = 3
"""Rows that fit next to each other on a terminal."""
COUNTS = ("read", "stored", "same_as_before", "refused", "doubts")


def show_preview(found: Preview, asked: Output) -> None:
    """Print a preview, or write it to a file."""
    form = asked.form
    if form is None:
        form = Format.TABLE if asked.out is None and sys.stdout.isatty() else Format.CSV
    if form is Format.TABLE:
        write("\n".join(as_paragraphs(found)), asked)
    else:
        show(as_frame(found), asked)


def as_frame(found: Preview) -> pd.DataFrame:
    """One long table of everything in a preview; columns as in `COLUMNS`."""
    rows = [
        {
            "file": t.file,
            "table": t.table,
            "part": "count",
            "column": name,
            "rows": getattr(t, name),
        }
        for t in found.summary.tables
        for name in COUNTS
    ]
    for sheet in found.sheets:
        place = {"file": sheet.file, "sheet": sheet.sheet, "table": sheet.table}
        rows += [{**place, **row} for row in _rows_of(sheet)]
    frame = pd.DataFrame(rows, columns=list(COLUMNS), dtype="object")
    return frame.astype({"row": "Int64", "rows": "Int64"}).astype(
        {name: "string" for name in COLUMNS if name not in {"row", "rows"}}
    )


def _rows_of(sheet: SheetPreview) -> Iterator[dict[str, object]]:
    for head in sheet.heads:
        yield {"part": "head", "head": head.head, "column": head.column, "read": head.code}
    for column in sheet.absent:
        yield {"part": "absent", "column": column}
    for row in sheet.rows:
        for cell in row.cells:
            yield {
                "part": "cell",
                "row": row.row_number,
                "head": cell.head,
                "column": cell.column,
                "written": cell.written,
                "read": cell.read,
            }
        if row.refused:
            yield {"part": "row", "row": row.row_number, "why": row.refused}
    for part, causes in (("refused", sheet.refused), ("doubt", sheet.doubts)):
        for cause in causes:
            yield {
                "part": part,
                "row": cause.first_rows[0],
                "column": cause.column,
                "written": "; ".join(cause.values) or None,
                "rows": cause.n_rows,
                "why": cause.sentence,
            }


def as_paragraphs(found: Preview) -> Iterator[str]:
    """A preview as text: a few short tables for each sheet."""
    from analysis.cli.terminal import as_table

    for sheet in found.sheets:
        place = sheet.file if sheet.sheet is None else f'{sheet.file}, sheet "{sheet.sheet}"'
        yield f"{place}: read as {sheet.table}\n"
        yield as_table(_side_by_side(sheet))
        unknown = [match.head for match in sheet.heads if match.column is None]
        if unknown:
            yield f"Not a column of {sheet.table}, stored with the rows: {', '.join(unknown)}.\n"
        if sheet.absent:
            yield f"Not in the file: {', '.join(sheet.absent)}.\n"
        yield from _causes("Would be refused", sheet.refused)
        yield from _causes("Would be stored with a doubt", sheet.doubts)
    counts = pd.DataFrame(
        [(t.file, t.table, *(getattr(t, name) for name in COUNTS)) for t in found.summary.tables],
        columns=["file", "table", *COUNTS],
    )
    if len(counts):
        yield f"What an ingest would do:\n\n{as_table(counts)}"


def _side_by_side(sheet: SheetPreview) -> pd.DataFrame:
    """One row a head: the column it is read as, and its first cells as written and as read."""
    shown = sheet.rows[:SHOWN]
    heads = {match.head: _meaning(match) for match in sheet.heads if match.column is not None}
    heads |= {cell.column: "from the profile" for r in shown for cell in r.cells if not cell.head}
    cells = {(r.row_number, c.head or c.column): _cell(c) for r in shown for c in r.cells}
    columns = {"head": list(heads), "column": list(heads.values())}
    for row in shown:
        mark = " (refused)" if row.refused else ""
        columns[f"row {row.row_number}{mark}"] = [cells[row.row_number, head] for head in heads]
    return pd.DataFrame(columns)


def _meaning(match: HeadMatch) -> str:
    return f"{match.column}: {match.code}" if match.code else str(match.column)


def _cell(cell: CellPreview) -> str:
    """What is written, and what it is read as where that differs."""
    if cell.written is None:
        return cell.read or ""
    if cell.read == cell.written:
        return cell.written
    return f"{cell.written} → {cell.read or 'not used'}"


def _causes(title: str, causes: tuple[Cause, ...]) -> Iterator[str]:
    from analysis.cli.terminal import as_table

    if not causes:
        return
    rows = [
        (
            cause.n_rows,
            ", ".join(map(str, cause.first_rows)),
            cause.column or "",
            "; ".join(cause.values),
            cause.sentence,
        )
        for cause in causes
    ]
    columns = ["rows", "first", "column", "values", "why"]
    yield f"{title}:\n\n{as_table(pd.DataFrame(rows, columns=columns))}"
