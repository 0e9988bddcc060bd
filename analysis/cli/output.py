"""How is a table printed: for people, as CSV or as JSON?"""

from __future__ import annotations

import io
import sys
from enum import StrEnum
from pathlib import Path

import pandas as pd
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

DECIMALS = "%.6g"
"""Shares and rates in CSV and JSON; counts and dates are exact."""
FOLDED_AT = 60
"""Characters at which a long text goes on in the next line."""
UNBOUNDED = 10_000


class Format(StrEnum):
    """Shape of the output."""

    TABLE = "table"
    CSV = "csv"
    JSON = "json"


def show(frame: pd.DataFrame, form: Format | None, out: Path | None) -> None:
    """Print a frame, or write it to a file.

    Parameters
    ----------
    frame : DataFrame
        Any table of the catalogue.
    form : Format or None
        None: ``table`` on a terminal, else ``csv``.
    out : Path or None
        File to write; None prints.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    if form is None:
        form = Format.TABLE if out is None and sys.stdout.isatty() else Format.CSV
    if form is Format.TABLE:
        text = _table(frame)
    elif form is Format.CSV:
        text = _plain(frame).to_csv(index=False, lineterminator="\n")
    else:
        text = _plain(frame).to_json(orient="records", indent=1, force_ascii=False) + "\n"
    if out is None:
        sys.stdout.write(text)
    else:
        out.write_text(text, encoding="utf-8")


def _plain(frame: pd.DataFrame) -> pd.DataFrame:
    """Dates as ISO text, numbers with six figures, everything else as it is."""
    plain = frame.copy()
    for name in frame.columns:
        if pd.api.types.is_datetime64_any_dtype(frame[name]):
            plain[name] = frame[name].dt.strftime("%Y-%m-%d").astype("object")
        elif pd.api.types.is_float_dtype(frame[name]):
            plain[name] = frame[name].map(lambda v: float(DECIMALS % v), na_action="ignore")
        elif isinstance(frame[name].dtype, pd.CategoricalDtype):
            plain[name] = frame[name].astype("string")
    return plain


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
    words = _plain(frame).astype("object")
    for cells in words.where(words.notna(), "").itertuples(index=False, name=None):
        table.add_row(*(f"{c:g}" if isinstance(c, float) else escape(str(c)) for c in cells))
    written = io.StringIO()
    Console(file=written, width=UNBOUNDED, no_color=True).print(table)
    return "\n".join(line.rstrip() for line in written.getvalue().splitlines()) + "\n"
