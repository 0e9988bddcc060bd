"""How is a table printed: for people, as CSV or as JSON?"""

from __future__ import annotations

import shutil
import sys

import pandas as pd

from analysis.cli.options.shared import Format, Output
from analysis.cli.progress import end_calculating
from analysis.files import write_whole
from analysis.tables.printed import as_csv, plain


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
        form = Format.TABLE if _is_shown(asked) else Format.CSV
    if form is Format.TABLE:
        from analysis.cli.terminal import as_table

        text = as_table(frame, shutil.get_terminal_size().columns if _is_shown(asked) else None)
    elif form is Format.CSV:
        text = as_csv(frame)
    else:
        text = plain(frame).to_json(orient="records", indent=1, force_ascii=False) + "\n"
    write(text, asked)


def _is_shown(asked: Output) -> bool:
    """Whether a person reads it on a terminal."""
    return asked.out is None and sys.stdout.isatty()


def write(text: str, asked: Output) -> None:
    """Print a text, or write it to the file that was named."""
    end_calculating()
    if asked.out is None:
        sys.stdout.write(text)
    else:
        write_whole(asked.out, text, replace=asked.force)
