"""How does a table look on a terminal?"""

from __future__ import annotations

import io

import pandas as pd
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from analysis.tables.printed import plain

FOLDED_AT = 60
"""Characters at which a long text goes on in the next line."""
UNBOUNDED = 10_000


def as_table(frame: pd.DataFrame) -> str:
    """Return columns at their own width, long texts folded: wider than the terminal, never cut."""
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
    return "\n".join(line.rstrip() for line in written.getvalue().splitlines()) + "\n"
