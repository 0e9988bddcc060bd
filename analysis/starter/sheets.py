"""How is a sheet made that shows what a cell may hold, offers it in a list and marks what is wrong?"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

from analysis.tables.kinds import Kind

ROWS = 2_000
"""Rows below the head that are prepared."""
MADE_ON = datetime(2020, 1, 1, tzinfo=UTC).replace(tzinfo=None)
"""Stated as the day of making, so that the same kit has the same bytes."""
FORMATS: Mapping[Kind, str] = {Kind.DATE: "yyyy-mm-dd", Kind.INSTANT: "yyyy-mm-dd hh:mm"}
"""Number formats; every other kind but a count is text, so that 007 and 2031-03 stay as typed."""
TIME_OF_DAY = "hh:mm"
_FIRST_DAY, _LAST_DAY = date(1990, 1, 1), date(2100, 12, 31)
_TITLE, _MESSAGE = 32, 255
"""Characters of the title and the text of a cell's help. *Source:* Excel (from memory)."""


@dataclass(frozen=True)
class Head:
    """A column of a sheet: what it is called, what a cell may hold, and the help at the cell."""

    name: str
    help: str
    kind: Kind = Kind.TEXT
    allowed: tuple[str, ...] = ()
    low: int | None = None
    high: int | None = None
    required: bool = False
    number_format: str = ""
    colour: str = "#DCE6EE"
    """Of the head, where it is not required."""
    upright: bool = False
    """The head is written upwards, above a narrow column."""
    known_in: tuple[str, str] | None = None
    """Sheet and column that lists the codes it may hold."""


@dataclass(frozen=True)
class Sheet:
    """A sheet with its columns; `key` are those that name a row."""

    name: str
    heads: Sequence[Head]
    key: Sequence[str] = ()
    frozen: int = 1
    """Columns that stay in view while the others are scrolled."""


def workbook(sheets: Sequence[Sheet]) -> bytes:
    """A workbook with empty rows to fill in.

    Required heads are dark. A row that is begun shows what it still needs in yellow, and a row
    that has the key of another in red.
    """
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    book.set_properties({"created": MADE_ON})
    places = {
        (sheet.name, head.name): xl_col_to_name(at)
        for sheet in sheets
        for at, head in enumerate(sheet.heads)
    }
    for sheet in sheets:
        _write(book, sheet, places)
    book.close()
    return out.getvalue()


def _write(book: xlsxwriter.Workbook, sheet: Sheet, places: Mapping[tuple[str, str], str]) -> None:
    page = book.add_worksheet(sheet.name)
    page.freeze_panes(1, sheet.frozen)
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)
    if any(head.upright for head in sheet.heads):
        page.set_row(0, 190)
    last = xl_col_to_name(len(sheet.heads) - 1)
    missing = book.add_format({"bg_color": "#FFE9A8"})
    for at, head in enumerate(sheet.heads):
        column = xl_col_to_name(at)
        cells = book.add_format({"num_format": head.number_format or FORMATS.get(head.kind, "@")})
        if head.upright:
            cells.set_align("center")
        if head.kind is Kind.COUNT:
            cells.set_num_format("0")
        page.set_column(at, at, 4 if head.upright else max(len(head.name) + 2, 12), cells)
        page.write_string(0, at, head.name, book.add_format(_of_head(head)))
        page.write_comment(0, at, head.help, {"x_scale": 2})
        page.data_validation(1, at, ROWS, at, _check(head, column, places))
        if head.required:
            begun = f"=AND(COUNTA($A2:${last}2)>0,ISBLANK(${column}2))"
            rule = {"type": "formula", "criteria": begun, "format": missing}
            page.conditional_format(1, at, ROWS, at, rule)
    _mark_twice(book, page, sheet, places)


def _of_head(head: Head) -> dict[str, object]:
    colours = ("#1D3F5E", "#FFFFFF") if head.required else (head.colour, "#1D2530")
    style = {"bold": True, "bg_color": colours[0], "font_color": colours[1], "border": 1}
    upright = {"rotation": 90, "valign": "bottom"} if head.upright else {}
    return {**style, "border_color": "#8896A5", **upright}


def _mark_twice(
    book: xlsxwriter.Workbook,
    page: xlsxwriter.worksheet.Worksheet,
    sheet: Sheet,
    places: Mapping[tuple[str, str], str],
) -> None:
    """Mark rows whose key is that of another row."""
    columns = [places[sheet.name, name] for name in sheet.key]
    if not columns:
        return
    pairs = ",".join(f"${c}$2:${c}${ROWS + 1},${c}2" for c in columns)
    filled = ",".join(f'${c}2<>""' for c in columns)
    twice = book.add_format({"font_color": "#9C1C1C", "bold": True})
    rule = {"type": "formula", "criteria": f"=AND({filled},COUNTIFS({pairs})>1)", "format": twice}
    for name in sheet.key:
        at = [head.name for head in sheet.heads].index(name)
        page.conditional_format(1, at, ROWS, at, rule)


def _check(head: Head, column: str, places: Mapping[tuple[str, str], str]) -> dict[str, object]:
    """What a cell may hold, its help, and the sentence for anything else."""
    shown = {
        "input_title": head.name[:_TITLE],
        "input_message": _cut(head.help),
        "error_title": head.name[:_TITLE],
    }
    if head.allowed:
        return {
            **shown,
            "validate": "list",
            "source": list(head.allowed),
            "error_message": _cut(f"One of: {', '.join(head.allowed)}."),
        }
    if head.number_format == TIME_OF_DAY:
        return {**shown, "validate": "any"}
    if head.kind in FORMATS:
        return {
            **shown,
            "validate": "date",
            "criteria": "between",
            "minimum": _FIRST_DAY,
            "maximum": _LAST_DAY,
            "error_message": "A date: year-month-day, such as 2031-03-04.",
        }
    if head.kind is Kind.COUNT:
        return {
            **shown,
            "validate": "integer",
            "criteria": "between",
            "minimum": head.low,
            "maximum": head.high,
            "error_message": f"A whole number from {head.low} to {head.high}.",
        }
    if head.known_in:
        sheet, name = head.known_in
        other = places[sheet, name]
        return {
            **shown,
            "validate": "custom",
            "value": f"=COUNTIF('{sheet}'!${other}$2:${other}${ROWS + 1},{column}2)>0",
            "error_type": "warning",
            "error_message": f"This code is not on the sheet {sheet}.",
        }
    return {**shown, "validate": "any"}


def _cut(text: str) -> str:
    return text if len(text) <= _MESSAGE else f"{text[: _MESSAGE - 1]}…"
