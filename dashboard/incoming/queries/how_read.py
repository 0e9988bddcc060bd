"""How is a file read besides its heads and words, in sentences for the person who describes it?"""

from __future__ import annotations

from collections.abc import Collection

from analysis.ingest import Profile
from analysis.ingest.moments import DateOrder
from dashboard.layout import words

ORDERS = {
    DateOrder.ISO: "year-month-day",
    DateOrder.DMY: "day/month/year",
    DateOrder.MDY: "month/day/year",
}
MARKS = {"\n": "a line end", "\t": "a tab"}


def how_read(profile: Profile, table: str, asked: Collection[str] = ()) -> tuple[str, ...]:
    """How a proposed profile reads dates, header rows, cells with several answers and footers.

    `asked`: keys of questions that are open; what they ask is not stated.
    """
    looks = profile.table(table)
    order = f"Dates are read as {ORDERS[profile.dates.order]}."
    sentences = [] if "date_order" in asked else [order]
    if looks.skip_rows or looks.head_rows > 1:
        first, last = looks.skip_rows + 1, looks.skip_rows + looks.head_rows
        rows = f"row {first}" if first == last else f"rows {first} to {last}"
        sentences.append(f"The header is in {rows}.")
    for column, marks in looks.separators.items():
        shown = words.listed([MARKS.get(mark, f'"{mark}"') for mark in marks])
        sentences.append(f"Several answers in a cell of {column} are divided by {shown}.")
    for column, value in looks.fixed.items():
        sentences.append(f"{column} is {value} in every row.")
    if looks.sheet_name:
        sentences.append(f"A sheet's name is read as {looks.sheet_name}.")
    if looks.footer:
        shown = words.listed([f'"{mark}"' for mark in looks.footer])
        sentences.append(f"Rows whose first cell is like {shown} are left out.")
    if profile.decimal_mark:
        sentences.append(f'Decimals follow "{profile.decimal_mark}".')
    if profile.encoding not in {"utf-8", "utf-8-sig"}:
        sentences.append(f"The text is read as {profile.encoding}.")
    return tuple(sentences)
