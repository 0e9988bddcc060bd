"""How is a table printed: for people, as CSV or as JSON?"""

from __future__ import annotations

import io
import sys

import pandas as pd
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from analysis.cli.options.shared import Format, Output
from analysis.files import write_whole
from analysis.tables.printed import as_csv, plain

FOLDED_AT = 60
"""Characters at which a long text goes on in the next line."""
UNBOUNDED = 10_000


def show(frame: pd.DataFrame, asked: Output) -> None:
    """Print a frame, or write it to a file.

    Parameters
    ----------
    frame : DataFrame
        Any table of the catalogue.
    asked : Output
        Shape (None: ``table`` on a terminal, else ``csv``), file to write (None prints), and
        whether a file of that name may be replaced.

    Raises
    ------
    FileError
        The file exists, is a database, or cannot be written.
    """
    form = asked.form
    if form is None:
        form = Format.TABLE if asked.out is None and sys.stdout.isatty() else Format.CSV
    if form is Format.TABLE:
        text = _table(frame)
    elif form is Format.CSV:
        text = as_csv(frame)
    else:
        text = plain(frame).to_json(orient="records", indent=1, force_ascii=False) + "\n"
    if asked.out is None:
        sys.stdout.write(text)
    else:
        write_whole(asked.out, text, replace=asked.force)


def _table(frame: pd.DataFrame) -> str:
    """Columns at their own width, long texts folded: wider than the terminal, never cut."""
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
