"""Which sheets does the registry workbook have? One a table that comes in, from the catalogue."""

from __future__ import annotations

from dataclasses import replace

from analysis.policy import Edition
from analysis.starter.sheets import Head, Sheet
from analysis.tables.columns import Column
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW
from analysis.tables.kinds import Kind, Sensitivity

_YES_NO = ("yes", "no")
_HOLDS = {
    Kind.DATE: "A date, such as 2031-03-04.",
    Kind.MONTH: "A month, such as 2031-03.",
    Kind.INSTANT: "A moment, such as 2031-03-04 09:30; the day alone is enough.",
}


def registry_sheets(edition: Edition) -> list[Sheet]:
    """The sheets in the order in which they are filled in; their heads are our own columns."""
    codes = {"findings": tuple(edition.findings), "steps_missed": tuple(edition.steps)}
    first_in: dict[str, str] = {}
    sheets = []
    for table, frame in INCOMING.items():
        heads = [_head(column, codes, first_in) for column in (*frame.columns, *_every())]
        for column in frame.columns:
            first_in.setdefault(column.name, table)
        sheets.append(Sheet(table, heads, frame.key))
    return sheets


def _every() -> list[Column]:
    """The columns of every table that people fill in."""
    return [column for column in ON_EVERY_ROW if column.kind is Kind.FLAG]


def _head(column: Column, codes: dict[str, tuple[str, ...]], first_in: dict[str, str]) -> Head:
    head = Head(
        column.name,
        _help(column, codes.get(column.name, ())),
        column.kind,
        _YES_NO if column.kind is Kind.FLAG else column.allowed,
        column.low,
        column.high,
        column.required,
    )
    is_code = column.sensitivity is Sensitivity.CODE
    defined = first_in.get(column.name) if is_code else None
    return replace(head, known_in=(defined, column.name)) if defined else head


def _help(column: Column, codes: tuple[str, ...]) -> str:
    """What the cell holds, what it may hold, and what a blank means."""
    blank = "Required." if column.required else f"Blank: {column.blank}."
    listed = f"Codes joined by ; or none: {', '.join(codes)}." if codes else ""
    meaning = f"{column.meaning[:1].upper()}{column.meaning[1:]}."
    return " ".join(filter(None, (meaning, _HOLDS.get(column.kind, ""), blank, listed)))
