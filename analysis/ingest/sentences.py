"""What is a refused row, an odd row or an unusable file called in words, and how is it mended?

The only place of ingest's sentences: everything else carries codes, columns and values.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from analysis.ingest.limits import (
    CELL_CHARACTERS,
    EARLIEST,
    EARLIEST_BORN,
    LATEST,
    ROW_BYTES,
    SHEET_CELLS,
    UNPACKED_BYTES,
    UNPACKED_RATIO,
)
from analysis.ingest.reasons import Doubt, FileFault, Refusal
from analysis.tables.columns import Column
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW

_MEGABYTE = 1_000_000
_LONGEST_VALUE = 60

_FILE: Mapping[FileFault, str] = {
    FileFault.NOT_FOUND: "there is no such file or folder. Check the path.",
    FileFault.NOT_ALLOWED: "you may not read it. Ask its owner for the right to read it.",
    FileFault.UNREADABLE: "it cannot be read ({why}). Check the file and the disk it lies on.",
    FileFault.NOTHING_IN_FOLDER: "the folder holds no file that can be read. Put CSV, XLSX, ODS or "
    "Parquet files in it.",
    FileFault.EMPTY: "the file is empty. Export it again.",
    FileFault.BINARY: "this is no table but a binary file. Save it as CSV (UTF-8), XLSX, ODS or "
    "Parquet.",
    FileFault.COMPRESSED: "this is a compressed file. Unpack it and ingest what is inside.",
    FileFault.ARCHIVE: "this is a zip archive and no workbook. Unpack it and ingest what is inside.",
    FileFault.OLD_WORKBOOK: "this is an old .xls workbook. Open it and save it as .xlsx.",
    FileFault.PASSWORD: "the workbook is protected by a password. Save a copy without one.",
    FileFault.BROKEN_WORKBOOK: "the workbook is damaged or cut off ({why}). Open it, save it anew "
    "and ingest that.",
    FileFault.BROKEN_PARQUET: "the Parquet file is damaged or cut off ({why}). Export it again.",
    FileFault.UNPACKS_TOO_LARGE: "it would unpack to {size}, {ratio} times its size; the limit is "
    f"{UNPACKED_BYTES // _MEGABYTE} MB, and {UNPACKED_RATIO} times. Split it, or save it as CSV.",
    FileFault.SHEET_TOO_LARGE: 'sheet "{sheet}" spans {rows} rows by {columns} columns; the limit is '
    f"{SHEET_CELLS:,} cells. Delete what stands far from the table, or save it as CSV.",
    FileFault.UTF_16: "the text is UTF-16. Save it as CSV in UTF-8.",
    FileFault.WRONG_ENCODING: "row {row} is not {encoding} text. Save the file as CSV in UTF-8, or say "
    "encoding in the source profile.",
    FileFault.QUOTE: "row {row}: a quotation mark is opened and not closed, or closed and then followed "
    "by text. Close it; inside a quoted cell write it twice.",
    FileFault.ROW_TOO_LONG: f"row {{row}} is longer than {ROW_BYTES // _MEGABYTE} MB. Check that it is a "
    "table, one row a line, with every quotation mark closed.",
    FileFault.TABLE_UNKNOWN: "neither its name nor its head row says which table it holds. Name it like "
    f"the table ({', '.join(INCOMING)}) or say --table.",
    FileFault.TABLE_AMBIGUOUS: "{what} fits {tables}. Say --table.",
    FileFault.NO_HEAD: "there is no head row where it should be (row {row}). Check skip_rows and "
    "head_rows of the source profile.",
    FileFault.HEADS_MISSING: "read as {table} it has no {missing}. Add {them}{other}.",
    FileFault.HEADS_TWICE: 'the heads "{first}" and "{second}" are both the column {column}. Rename or '
    "delete one.",
    FileFault.COLUMN_TYPE: 'the column "{column}" holds {kind}, which is no single value a row. Export '
    "it as text.",
    FileFault.CHANGED_MEANWHILE: "the file changed while it was read. Ingest it again.",
}


def file_sentence(code: FileFault, file: str, **facts: object) -> str:
    """Say why nothing of a file went in, and how to mend it.

    Examples
    --------
    >>> file_sentence(FileFault.EMPTY, "lines.csv")
    'lines.csv: the file is empty. Export it again.'
    """
    if code is FileFault.HEADS_MISSING:
        missing, other = facts["missing"], facts["other"]
        assert isinstance(missing, Sequence)
        facts["missing"] = _listed(missing)
        facts["them"] = "the head" if len(missing) == 1 else "the heads"
        facts["other"] = f"; its heads look like {other}" if other else ""
    return f"{file}: {_FILE[code].format(**facts)}"


_WHY: Mapping[Refusal, str] = {
    Refusal.RAGGED_ROW: "the row has {value} than the head row",
    Refusal.CONTROL_CHARACTER: "the cell holds an invisible control character",
    Refusal.CELL_TOO_LONG: f"the cell is longer than {CELL_CHARACTERS:,} characters",
    Refusal.ERROR_CELL: "the cell holds the error of a formula",
    Refusal.FORMULA_WITHOUT_VALUE: "the cell holds a formula whose result was not saved",
    Refusal.MISSING_VALUE: "it is blank and is needed",
    Refusal.UNKNOWN_CODE: "it is not one of the words for this column",
    Refusal.NONE_WITH_CODES: "none stands beside other codes",
    Refusal.UNREADABLE_TICK: "the word is neither ticked nor not ticked",
    Refusal.TICK_WITHOUT_PROFILE: "the column stands for a code that only the source profile tells",
    Refusal.NOT_A_WHOLE_NUMBER: "it is no whole number",
    Refusal.OUT_OF_RANGE: "the number is out of range",
    Refusal.AMBIGUOUS_DATE: "day and month can't be told apart",
    Refusal.DATE_ORDER: "the date is not written year first",
    Refusal.TWO_DIGIT_YEAR: "the year has two digits",
    Refusal.UNREADABLE_DATE: "it can't be read as a date",
    Refusal.NO_SUCH_DAY: "there is no such day",
    Refusal.TIME_IN_DATE: "it holds a time of day where a date is asked for",
    Refusal.UNREADABLE_MONTH: "it can't be read as a month",
    Refusal.NO_SUCH_TIME: "the clocks skipped this time that day",
    Refusal.IMPLAUSIBLE_DATE: "the date is too long ago or too far ahead to be true",
    Refusal.IN_THE_FUTURE: "the date is later than the day the row was received",
    Refusal.HOME_BEFORE_PLACED: "the line came home before it was placed",
    Refusal.REMOVAL_HALF_TOLD: "of removal day and removal reason only one is told",
    Refusal.ENDED_BEFORE_PLACED: "the line ended before it was placed",
    Refusal.BORN_AFTER_PLACED: "the child was born after the line was placed",
    Refusal.STAY_OF_NO_NIGHT: "the stay ends on the day it starts and holds no night",
    Refusal.STAY_ENDS_BEFORE_START: "the stay ends before it starts",
    Refusal.BEFORE_PLACED: "the line was not placed yet",
    Refusal.UNKNOWN_LINE: "no line with this code is known",
    Refusal.UNKNOWN_CHILD: "no line of a child with this code is known",
    Refusal.UNKNOWN_FAMILY: "no line of a family with this code is known",
    Refusal.NO_LINE_THAT_DAY: "the family had no line in place that day",
    Refusal.SEVERAL_LINES_THAT_DAY: "the family had several lines in place that day",
    Refusal.LINE_OF_OTHER_FAMILY: "the line belongs to another family",
    Refusal.LINE_OF_OTHER_CHILD: "the line belongs to another child",
    Refusal.DUPLICATE_KEY: "the file has two rows for the same {key} that say different things",
}

_MEND: Mapping[Refusal, str] = {
    Refusal.RAGGED_ROW: "Write one cell under each head; put a cell that holds the separator in "
    "quotation marks.",
    Refusal.CONTROL_CHARACTER: "Type the cell again.",
    Refusal.CELL_TOO_LONG: "Shorten it, and check that every quotation mark is closed.",
    Refusal.ERROR_CELL: "Mend the formula, or type the value.",
    Refusal.FORMULA_WITHOUT_VALUE: "Open the workbook and save it, or type the value.",
    Refusal.MISSING_VALUE: "Fill it in.",
    Refusal.NONE_WITH_CODES: "Write none alone, or the codes without it.",
    Refusal.UNREADABLE_TICK: "Write yes or no, leave it blank if nobody looked, or add the word to the "
    "source profile.",
    Refusal.TICK_WITHOUT_PROFILE: "Write its code into findings or steps_missed and clear this "
    "cell.",
    Refusal.NOT_A_WHOLE_NUMBER: "Write it in digits only.",
    Refusal.AMBIGUOUS_DATE: "Say date_order in the source profile.",
    Refusal.DATE_ORDER: "Write it like 2031-03-04, or say date_order in the source profile.",
    Refusal.TWO_DIGIT_YEAR: "Write the year with four digits.",
    Refusal.UNREADABLE_DATE: "Write it like 2031-03-04{time}.",
    Refusal.NO_SUCH_DAY: "Check day and month, and date_order of the source profile if there is one.",
    Refusal.TIME_IN_DATE: "Write the date alone, like 2031-03-04.",
    Refusal.UNREADABLE_MONTH: "Write it like 2031-03.",
    Refusal.NO_SUCH_TIME: "Write the time that the clock showed, or add the offset from UTC.",
    Refusal.IN_THE_FUTURE: "Correct the date, or received_at.",
    Refusal.HOME_BEFORE_PLACED: "Correct placed_on or home_from.",
    Refusal.REMOVAL_HALF_TOLD: "Fill in both removed_on and removal_reason, or neither.",
    Refusal.ENDED_BEFORE_PLACED: "Correct it, or placed_on.",
    Refusal.BORN_AFTER_PLACED: "Correct born or placed_on.",
    Refusal.STAY_OF_NO_NIGHT: "Delete the row if the child slept at home, or correct the dates.",
    Refusal.STAY_ENDS_BEFORE_START: "Correct from_on or to_on.",
    Refusal.BEFORE_PLACED: "Correct the date or the line's code, or placed_on in the registry.",
    Refusal.UNKNOWN_LINE: "Ingest the registry's lines first, or correct the code.",
    Refusal.UNKNOWN_CHILD: "Ingest the registry's lines first, or correct the code.",
    Refusal.UNKNOWN_FAMILY: "Ingest the registry's lines first, or correct the code.",
    Refusal.NO_LINE_THAT_DAY: "Write the line_id, or correct the date.",
    Refusal.SEVERAL_LINES_THAT_DAY: "Write the line_id.",
    Refusal.LINE_OF_OTHER_FAMILY: "Correct line_id or family_id.",
    Refusal.LINE_OF_OTHER_CHILD: "Correct line_id or child_id.",
    Refusal.DUPLICATE_KEY: "Keep the true one, or give each its received_at.",
}

_DOUBT: Mapping[Doubt, str] = {
    Doubt.TIME_TWICE: "the clocks showed this time twice that day; the earlier one is taken",
    Doubt.CHANGE_DURING_STAY: "a change at home, dated in a stay away from home",
    Doubt.AFTER_END: "dated on or after the day the line was removed or the family left",
    Doubt.CAREGIVER_OF_OTHER_FAMILY: "done by a caregiver of another family",
    Doubt.UNKNOWN_CAREGIVER: "the caregiver is not in the list of caregivers",
    Doubt.UNKNOWN_FAMILY: "no line of this family is known",
    Doubt.CONNECTOR_TOO_SOON: "the connector was changed sooner after the change before than the "
    "policy allows",
    Doubt.DRESSING_ON_OUTSIDE: "the dressing change at the clinic is dated outside the time there",
    Doubt.CONFIRMED_BEFORE_ONSET: "confirmed before its first day",
    Doubt.MOVES_FAMILY: "a correction that moves the entry to another family",
    Doubt.OLDER_VERSION: "an older version of the row, sent again after a newer one",
}


def doubt_sentence(code: str) -> str:
    """Say what is odd about a row that went in.

    Examples
    --------
    >>> doubt_sentence("confirmed_before_onset")
    'confirmed before its first day'
    """
    return _DOUBT[Doubt(code)]


def row_sentence(
    table: str,
    file: str,
    sheet: str | None,
    row_number: int,
    column: str | None,
    value: str | None,
    reason: str,
) -> str:
    r"""Say of a refused row where it is, what is wrong and how to mend it.

    Parameters
    ----------
    table, file : str
        The table the row was read for and the file's own name.
    sheet : str or None
        Sheet of a workbook.
    row_number : int
        The row as a person counts it in the file, head rows included.
    column, value : str or None
        First column at fault and what stands in it. What is private is not repeated.
    reason : str
        A code of `Refusal`.

    Returns
    -------
    str
        One line of text.

    Examples
    --------
    >>> row_sentence("home_log", "home_log.csv", None, 41, "done_at", "03/04/2031",
    ...              "ambiguous_date")
    'home_log.csv row 41, done_at "03/04/2031": day and month can\'t be told apart. Say date_order in the source profile.'
    """
    place = file if sheet is None else f'{file} sheet "{sheet}"'
    cell = f", {column}" if column else ""
    if column and value and reason != Refusal.RAGGED_ROW and not _is_private(table, column, reason):
        cell += f' "{_short(value)}"'
    what = why(table, column, value, reason)
    return f"{place} row {row_number}{cell}: {what}. {mend(table, column, value, reason)}"


def why(table: str, column: str | None, value: str | None, reason: str) -> str:
    """Say what is wrong with a refused row, without its place."""
    key = " and ".join(INCOMING[table].key)
    words = _WHY[Refusal(reason)].format(value=value, key=key)
    described = _column(table, column)
    if reason == Refusal.OUT_OF_RANGE and described is not None:
        words += f" ({described.low} to {described.high})"
    return words


def mend(table: str, column: str | None, value: str | None, reason: str) -> str:
    """Say how to mend a refused row.

    Examples
    --------
    >>> mend("lines", "line_type", "pick", "unknown_code")
    'Write one of tunneled_cvc, nontunneled_cvc, picc, implanted_port, other (perhaps picc).'
    """
    described = _column(table, column)
    match Refusal(reason):
        case Refusal.UNKNOWN_CODE if column == "void":
            return "Write yes or no, or leave it blank."
        case Refusal.UNKNOWN_CODE if described is not None and described.allowed:
            close = difflib.get_close_matches((value or "").lower(), described.allowed, 1)
            perhaps = f" (perhaps {close[0]})" if close else ""
            return f"Write one of {', '.join(described.allowed)}{perhaps}."
        case Refusal.UNKNOWN_CODE:
            return "Write codes of the policy joined by ; or none, or add the code to the policy."
        case Refusal.OUT_OF_RANGE:
            return "Correct the number."
        case Refusal.IMPLAUSIBLE_DATE:
            first = EARLIEST_BORN if column == "born" else EARLIEST
            return f"Write a date from {first} to {LATEST}."
        case Refusal.UNREADABLE_DATE as code:
            timed = column in {"done_at", "received_at"}
            return _MEND[code].format(time=" or 2031-03-04T18:30" if timed else "")
        case code:
            return _MEND[code]


def unknown_columns_note(file: str, table: str, heads: Sequence[str]) -> str:
    """Say which columns are no part of a table and are kept with its rows."""
    return f"{file}: {_listed(heads)}: no column of {table}; kept with the rows."


def sheet_left_out_note(file: str, sheet: str) -> str:
    """Say that a sheet was passed over."""
    return (
        f'{file} sheet "{sheet}": neither its name nor its head row says which table it holds; '
        "left out. Name it like the table to have it read."
    )


def file_left_out_note(file: str) -> str:
    """Say that a file of a folder was passed over."""
    return f"{file}: not CSV, XLSX, ODS or Parquet; left out."


def folder_left_out_note(folder: str) -> str:
    """Say that a folder inside a folder was passed over."""
    return f"{folder}: a folder inside the folder; left out. Name it to have it read."


def no_rows_note(file: str, table: str) -> str:
    """Say that a file or sheet has a head and nothing under it."""
    return f"{file}: a head row of {table} and no row under it."


def skipped_note(file: str) -> str:
    """Say that a file was read before and has not changed."""
    return f"{file}: ingested before and not changed; nothing to do."


def read_again_note(file: str) -> str:
    """Say that a file was ingested before and is read in another way now."""
    return (
        f"{file}: ingested before; read again because the program, the source profile or the time "
        "zone would read it differently now."
    )


def _column(table: str, column: str | None) -> Column | None:
    return next((c for c in INCOMING[table].columns if c.name == column), None)


def _is_private(table: str, column: str, reason: str) -> bool:
    """Whether a cell may hold what no message repeats; a column of the sender's own may."""
    described = _column(table, column)
    if described is None:
        return reason != Refusal.UNREADABLE_TICK and column not in {c.name for c in ON_EVERY_ROW}
    return described.sensitivity.is_private


def _short(value: str) -> str:
    flat = " ".join(value.split())
    return flat if len(flat) <= _LONGEST_VALUE else flat[: _LONGEST_VALUE - 1] + "…"


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
