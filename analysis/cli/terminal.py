"""How does a table look on a terminal?"""

from __future__ import annotations

import io
import textwrap

import pandas as pd
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from analysis.tables.printed import plain

FOLDED_AT = 60
"""Characters at which a long text goes on in the next line."""
UNBOUNDED = 10_000
MOST_NARROW = 20
"""Characters of a cell in a line, on the narrowest terminal."""


def as_table(frame: pd.DataFrame, width: int | None = None) -> str:
    """Return columns at their own width, long texts folded, never cut.

    A table that is wider than the terminal's width is written row by row, each cell behind its
    column's name.
    """
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, header_style="bold")
    for name in frame.columns:
        numbers = pd.api.types.is_numeric_dtype(frame[name])
        table.add_column(
            str(name).replace("_", " "),
            justify="right" if numbers else "left",
            max_width=FOLDED_AT,
            overflow="fold",
        )
    words = plain(frame).astype("object")
    for cells in words.where(words.notna(), "").itertuples(index=False, name=None):
        table.add_row(*(f"{c:g}" if isinstance(c, float) else escape(str(c)) for c in cells))
    written = io.StringIO()
    Console(file=written, width=UNBOUNDED, no_color=True).print(table)
    lines = [line.rstrip() for line in written.getvalue().splitlines()]
    if width is not None and max(map(len, lines), default=0) > width and len(frame):
        return _row_by_row(words.where(words.notna(), ""), width)
    return "\n".join(lines) + "\n"


def _row_by_row(words: pd.DataFrame, width: int) -> str:
    """Each row as lines of a name and a cell; blank cells are left out."""
    names = [str(name).replace("_", " ") for name in words.columns]
    behind = max(map(len, names)) + 2
    lines: list[str] = []
    for number, cells in enumerate(words.itertuples(index=False, name=None), 1):
        lines.append(f"{number} of {len(words)}".ljust(width, "─")[:width])
        for name, cell in zip(names, cells, strict=True):
            text = f"{cell:g}" if isinstance(cell, float) else str(cell)
            folded = textwrap.wrap(text, max(width - behind, MOST_NARROW)) if text else []
            for at, part in enumerate(folded):
                lines.append(f"{(name if at == 0 else ''):{behind}}{part}")
    return "\n".join(lines) + "\n"
