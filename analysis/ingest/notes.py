"""Which sentences about files and sheets follow an ingest, besides what is wrong?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.ingest.limits import OLD_AFTER_DAYS
from analysis.ingest.sentences import listed_words


def unknown_columns_note(file: str, table: str, heads: Sequence[str]) -> str:
    """Which columns do not belong to a table; their values are stored with its rows."""
    return f"{file}: {listed_words(heads)}: not a column of {table}; stored with the rows."


def sheet_left_out_note(file: str, sheet: str) -> str:
    """A sheet was skipped."""
    return (
        f'{file} sheet "{sheet}": neither its name nor its header row shows which table it is; '
        "skipped. Name it after the table to have it read."
    )


def file_left_out_note(file: str) -> str:
    """A file of a folder was skipped."""
    return f"{file}: not CSV, XLSX, ODS, Parquet, JSON, gz or zip; skipped."


def link_left_out_note(file: str) -> str:
    """A link that leads out of its folder was skipped."""
    return f"{file}: a link to a place outside the folder; skipped. Name the file itself to have it read."


def folder_left_out_note(folder: str) -> str:
    """A folder inside a folder was skipped."""
    return f"{folder}: a link to a folder, or too deep; skipped. Name it to have it read."


def footer_note(file: str, n: int) -> str:
    """Rows that are not part of the table by the source profile."""
    rows = "1 row" if n == 1 else f"{n:,} rows"
    return f"{file}: {rows} left out, as the footer of the source profile describes."


def deleted_note(file: str, n: int) -> str:
    """Rows of families that were deleted on request."""
    rows = "1 row is" if n == 1 else f"{n:,} rows are"
    return (
        f"{file}: {rows} of a family that was deleted on request; left out and not stored. A family "
        "that comes back needs new codes."
    )


def no_rows_note(file: str, tables: Sequence[str]) -> str:
    """No table of a file has a row."""
    heads = "a header row" if len(tables) == 1 else "header rows"
    return f"{file}: {heads} of {listed_words(tables)} and no other row."


def skipped_note(file: str) -> str:
    """A file was imported before and has not changed."""
    return f"{file}: ingested before and not changed; nothing to do."


def read_again_note(file: str) -> str:
    """A file was imported before and is read differently now."""
    return (
        f"{file}: ingested before; read again because the program, the source profile or the time "
        "zone would read it differently now."
    )


def history_note(file: str, table: str, old: int, read: int) -> str:
    """Most rows of a file were received long after they were done."""
    return (
        f"{file}: {old:,} of {read:,} rows of {table} were received more than {OLD_AFTER_DAYS} days "
        "after they were done. If this is history that you load at the start, ingest the file again "
        "with --history, so that earlier days can be viewed and counted."
    )


def receipts_corrected_note(file: str, n: int) -> str:
    """Rows were stored with a receipt in the future and now count as received."""
    rows = "1 row was" if n == 1 else f"{n:,} rows were"
    return (
        f"{file}: {rows} stored with a receipt in the future, because a clock was ahead; "
        "they now count as received today and are no longer hidden."
    )


def unticked_note(file: str, n: int) -> str:
    """Submissions were sent again without a tick that they had."""
    entries = "1 log entry is" if n == 1 else f"{n:,} log entries are"
    return f"{file}: {entries} void now, because the form was sent again without their tick."
