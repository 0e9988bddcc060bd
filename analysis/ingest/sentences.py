"""What is wrong with a refused row, an odd row or an unusable file, and how is it fixed?

All sentences of ingest are here; everywhere else there are codes, columns and values. Each states what
is wrong, where, and how to fix it.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping, Sequence

from analysis.ingest.fhir_sentences import FHIR_FILE
from analysis.ingest.limits import (
    CELL_CHARACTERS,
    DAYS_AHEAD,
    EARLIEST,
    EARLIEST_BORN,
    JSON_BYTES,
    LATEST,
    PACKED_FILES,
    ROW_BYTES,
    SHEET_CELLS,
    SHEET_TEXT,
    UNPACKED_BYTES,
    UNPACKED_RATIO,
)
from analysis.ingest.reasons import Doubt, FileFault, Refusal
from analysis.tables.columns import Column
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW

_MEGABYTE = 1_000_000
_LONGEST_VALUE = 60

_FILE: Mapping[FileFault, str] = {
    **FHIR_FILE,
    FileFault.NOT_FOUND: "there is no such file or folder. Check the path.",
    FileFault.NOT_ALLOWED: "you do not have permission to read it. Ask its owner for access.",
    FileFault.UNREADABLE: "it cannot be read ({why}). Check the file and its disk.",
    FileFault.DAMAGED: "it is damaged, or not built as its kind of file is ({why}). Open it, save it again "
    "and ingest the new copy.",
    FileFault.NOTHING_IN_FOLDER: "the folder has no file that can be read. Put CSV, XLSX, ODS or "
    "Parquet files in it.",
    FileFault.EMPTY: "the file is empty. Export it again.",
    FileFault.BINARY: "this is not a spreadsheet or CSV file. Save it as CSV (UTF-8), XLSX, "
    "ODS or Parquet.",
    FileFault.COMPRESSED: "this is a compressed file of a kind that is not opened here. Unpack it and "
    "ingest what is inside.",
    FileFault.ARCHIVE: f"the zip archive holds no file, or more than {PACKED_FILES}. Unpack it and "
    "ingest what is inside.",
    FileFault.BROKEN_ARCHIVE: "the compressed file is damaged or incomplete ({why}). Copy or export it "
    "again.",
    FileFault.BROKEN_JSON: "row {row} is not valid JSON ({why}). Export it again.",
    FileFault.JSON_TOO_LARGE: f"a JSON file may hold {JSON_BYTES // _MEGABYTE} MB. Export one object a "
    "line (.ndjson), which may be larger, or CSV.",
    FileFault.NO_OBJECTS: "the JSON holds no list of objects with one cell by name. Export one object a "
    "row, or CSV.",
    FileFault.PASSWORD: "the workbook has a password. Save a copy without one.",
    FileFault.BROKEN_WORKBOOK: "the workbook is damaged or incomplete ({why}). Open it, save it "
    "again and ingest the new copy.",
    FileFault.BROKEN_PARQUET: "the Parquet file is damaged or incomplete ({why}). Export it again.",
    FileFault.UNPACKS_TOO_LARGE: "it would unpack to {size}, {ratio} times its size; the limit is "
    f"{UNPACKED_BYTES // _MEGABYTE} MB, and {UNPACKED_RATIO} times. Split it, or save it as CSV.",
    FileFault.SHEET_TOO_LARGE: 'sheet "{sheet}" spans {rows} rows by {columns} columns; the limit is '
    f"{SHEET_CELLS:,} cells. Delete cells far from the table, or save it as CSV.",
    FileFault.TOO_MUCH_TEXT: 'the texts in the cells of sheet "{sheet}" are longer than '
    f"{SHEET_TEXT // _MEGABYTE} million characters together. Check for a cell that was copied into "
    "many rows, or split the file.",
    FileFault.UTF_16: "the text is UTF-16. Save it as CSV in UTF-8.",
    FileFault.WRONG_ENCODING: "row {row} is not {encoding} text. Save the file as CSV in UTF-8, or set "
    "encoding in the source profile.",
    FileFault.QUOTE: "row {row}: a quotation mark is not closed, or text follows a closing one. Close it; "
    "inside a quoted cell write it twice.",
    FileFault.ROW_TOO_LONG: f"row {{row}} is longer than {ROW_BYTES // _MEGABYTE} MB. Check that it is a "
    "table with one row per line and every quotation mark closed.",
    FileFault.TABLE_UNKNOWN: "neither its name nor its header row shows which table it is. Name it after "
    f"the table ({', '.join(INCOMING)}) or use --table. A clinic's own sheet is described once by "
    "linedays source FILE.",
    FileFault.TABLE_AMBIGUOUS: "{what} fits {tables}. Use --table.",
    FileFault.NO_HEAD: "there is no header row where it should be (row {row}). Check skip_rows and "
    "head_rows of the source profile.",
    FileFault.HEADS_MISSING: "read as {table}, it has no {missing}. Add {them}{other}.",
    FileFault.HEADS_CHANGED: "the headers are not those of the source {source}{gone}{added}. Nothing "
    "was imported. Check the file, or describe the source again with: linedays source FILE --name "
    "{named}.",
    FileFault.HEADS_TWICE: 'the headers "{first}" and "{second}" are both the column {column}. Rename or '
    "delete one.",
    FileFault.COLUMN_TYPE: 'the column "{column}" holds {kind}, not one value per row. Export it as text.',
    FileFault.CHANGED_MEANWHILE: "the file changed while it was being read. Ingest it again.",
    FileFault.ZONE_NOT_SET: "row {row}: {column} names an offset from UTC, but the programme's time "
    "zone is not set, so its day is not known. Write time_zone in a policy file and store it with: "
    "linedays policy --set FILE.",
    FileFault.RECEIPT_AHEAD: "this time is later than now, {now}, so the rows would be hidden until "
    "then. Correct it, or the clock of this computer.",
}


def file_sentence(code: FileFault, file: str, **facts: object) -> str:
    """Why nothing of a file was imported, and how to fix it.

    Examples
    --------
    >>> file_sentence(FileFault.EMPTY, "lines.csv")
    'lines.csv: the file is empty. Export it again.'
    """
    if code is FileFault.HEADS_MISSING:
        missing, other = facts["missing"], facts["other"]
        assert isinstance(missing, Sequence)
        facts["missing"] = listed_words(missing)
        facts["them"] = "the header" if len(missing) == 1 else "the headers"
        facts["other"] = f"; its headers look like {other}" if other else ""
    if code is FileFault.HEADS_CHANGED:
        for key, what in (("gone", "missing"), ("added", "new")):
            heads = facts[key]
            assert isinstance(heads, Sequence)
            facts[key] = f"; {what}: {listed_words(heads)}" if heads else ""
        facts["named"] = f'"{facts["source"]}"'
    return f"{file}: {_FILE[code].format(**facts)}"


_WHY: Mapping[Refusal, str] = {
    Refusal.RAGGED_ROW: "the row has {value} than the header row",
    Refusal.CONTROL_CHARACTER: "the cell holds an invisible control character",
    Refusal.CELL_TOO_LONG: f"the cell is longer than {CELL_CHARACTERS:,} characters",
    Refusal.ERROR_CELL: "the cell holds a formula error",
    Refusal.FORMULA_WITHOUT_VALUE: "the cell holds a formula whose result was not saved",
    Refusal.MISSING_VALUE: "it is blank but required",
    Refusal.UNKNOWN_CODE: "it is not one of the values for this column",
    Refusal.NONE_WITH_CODES: "it has none together with other codes",
    Refusal.UNREADABLE_TICK: "it is not a yes or no",
    Refusal.TICK_WITHOUT_PROFILE: "only the source profile knows which code this column means",
    Refusal.FHIR_REFERENCE: "the resource to which this refers is in no file of this ingest",
    Refusal.FHIR_VALUE: "the FHIRPath expression of this column gives no single value",
    Refusal.NOT_A_WHOLE_NUMBER: "it is not a whole number",
    Refusal.OUT_OF_RANGE: "the number is out of range",
    Refusal.AMBIGUOUS_DATE: "it is not clear which is the day and which the month",
    Refusal.DATE_ORDER: "the date does not start with the year",
    Refusal.TWO_DIGIT_YEAR: "the year has two digits",
    Refusal.UNREADABLE_DATE: "it can't be read as a date",
    Refusal.NO_SUCH_DAY: "there is no such day",
    Refusal.NO_TIME: "it has no time of day",
    Refusal.TIME_IN_DATE: "it has a time of day, but only a date is expected",
    Refusal.UNREADABLE_MONTH: "it can't be read as a month",
    Refusal.NO_SUCH_TIME: "the clocks skipped this time that day",
    Refusal.IMPLAUSIBLE_DATE: "the date is too far in the past or future",
    Refusal.IN_THE_FUTURE: "the date is later than the day the row was received",
    Refusal.TOO_FAR_AHEAD: "the plan is more than {days} days ahead",
    Refusal.RECEIPT_AHEAD: "the row was received later than now, so it would be hidden until then",
    Refusal.HOME_BEFORE_PLACED: "the line came home before it was placed",
    Refusal.REMOVAL_INCOMPLETE: "only one of removal date and removal reason is given",
    Refusal.ENDED_BEFORE_PLACED: "the line ended before it was placed",
    Refusal.BORN_AFTER_PLACED: "the child was born after the line was placed",
    Refusal.STAY_OF_NO_NIGHT: "the stay ends on the day it starts, so it has no night",
    Refusal.STAY_ENDS_BEFORE_START: "the stay ends before it starts",
    Refusal.BEFORE_PLACED: "the line had not been placed yet",
    Refusal.UNKNOWN_LINE: "no line with this code is known",
    Refusal.UNKNOWN_CHILD: "no line of a child with this code is known",
    Refusal.UNKNOWN_FAMILY: "no line of a family with this code is known",
    Refusal.NO_LINE_THAT_DAY: "the family had no line in place that day",
    Refusal.SEVERAL_LINES_THAT_DAY: "the family had several lines in place that day",
    Refusal.LINE_OF_OTHER_FAMILY: "the line belongs to another family",
    Refusal.LINE_OF_OTHER_CHILD: "the line belongs to another child",
    Refusal.DUPLICATE_KEY: "the file has two different rows for the same {key}",
}

_FIX: Mapping[Refusal, str] = {
    Refusal.RAGGED_ROW: "Write one cell under each head; put a cell that holds the separator in "
    "quotation marks.",
    Refusal.CONTROL_CHARACTER: "Type the cell again.",
    Refusal.CELL_TOO_LONG: "Shorten it, and check that every quotation mark is closed.",
    Refusal.ERROR_CELL: "Correct the formula, or type the value.",
    Refusal.FORMULA_WITHOUT_VALUE: "Open the workbook and save it, or type the value.",
    Refusal.MISSING_VALUE: "Fill it in.",
    Refusal.NONE_WITH_CODES: "Write only none, or only the codes.",
    Refusal.UNREADABLE_TICK: "Use yes or no, leave it blank if it was not checked, or add the word to "
    "the source profile.",
    Refusal.TICK_WITHOUT_PROFILE: "Write its code in findings or steps_missed and clear this cell.",
    Refusal.FHIR_REFERENCE: "Ingest the file that holds it together with this one, or read the column "
    "from the reference itself, such as subject.reference, in the source profile.",
    Refusal.FHIR_VALUE: "Correct the resource, or narrow the expression by .where() or .first().",
    Refusal.NOT_A_WHOLE_NUMBER: "Use digits only.",
    Refusal.AMBIGUOUS_DATE: "Set date_order in the source profile.",
    Refusal.DATE_ORDER: "Write it like 2031-03-04, or set date_order in the source profile.",
    Refusal.TWO_DIGIT_YEAR: "Write the year with four digits, or set short_years in the source profile.",
    Refusal.UNREADABLE_DATE: "Write it like 2031-03-04{time}.",
    Refusal.NO_SUCH_DAY: "Check day and month, and date_order of the source profile if there is one.",
    Refusal.NO_TIME: "Write date and time, like 2031-03-04T18:30.",
    Refusal.TIME_IN_DATE: "Write the date alone, like 2031-03-04.",
    Refusal.UNREADABLE_MONTH: "Write it like 2031-03.",
    Refusal.NO_SUCH_TIME: "Write the time shown on the clock, or add the offset from UTC.",
    Refusal.IN_THE_FUTURE: "Correct the date, or received_at.",
    Refusal.TOO_FAR_AHEAD: "Correct the date, or ingest the row again nearer to it.",
    Refusal.RECEIPT_AHEAD: "Correct received_at, or leave it blank; check the clock of this computer.",
    Refusal.HOME_BEFORE_PLACED: "Correct placed_on or home_from.",
    Refusal.REMOVAL_INCOMPLETE: "Give both removed_on and removal_reason, or neither.",
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
    Refusal.DUPLICATE_KEY: "Keep the correct one, or give each its received_at.",
}

_DOUBT: Mapping[Doubt, str] = {
    Doubt.TIME_TWICE: "the clocks showed this time twice that day; the earlier one is used",
    Doubt.CHANGE_DURING_STAY: "a change at home dated during a stay away from home",
    Doubt.AFTER_END: "dated on or after the day the line was removed or the family left",
    Doubt.CAREGIVER_OF_OTHER_FAMILY: "done by a caregiver of another family",
    Doubt.UNKNOWN_CAREGIVER: "the caregiver is not in the list of caregivers",
    Doubt.UNKNOWN_FAMILY: "no line of this family is known",
    Doubt.CONNECTOR_TOO_SOON: "the connector was changed again sooner than the policy allows",
    Doubt.DRESSING_ON_OUTSIDE: "the clinic's dressing change is dated outside the time there",
    Doubt.CONFIRMED_BEFORE_ONSET: "confirmed before its first day",
    Doubt.MOVES_FAMILY: "a correction that moves the entry to another family",
    Doubt.LOOKS_LIKE_CORRECTION: "without an entry_id, and looks like the correction of an earlier "
    "entry of the same line, day and kind; both count",
    Doubt.CALL_AGAIN_BEFORE_CALL: "to be called again before the day of the call",
    Doubt.OLDER_VERSION: "an older version of the row, sent again after a newer one",
}


def doubt_sentence(code: str) -> str:
    """What is odd about an imported row.

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
    r"""Where a refused row is, what is wrong with it and how to fix it.

    Parameters
    ----------
    table, file : str
        The table the row was read for and the file's own name.
    sheet : str or None
        Sheet of a workbook.
    row_number : int
        The row as a person counts it in the file, header rows included.
    column, value : str or None
        First column at fault and its value. Private values are not repeated.
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
    'home_log.csv row 41, done_at "03/04/2031": it is not clear which is the day and which the month. Set date_order in the source profile.'
    """
    place = file if sheet is None else f'{file} sheet "{sheet}"'
    cell = f", {column}" if column else ""
    if column and value and reason != Refusal.RAGGED_ROW and not is_private(table, column, reason):
        cell += f' "{_short(value)}"'
    what = why(table, column, value, reason)
    return f"{place} row {row_number}{cell}: {what}. {fix(table, column, value, reason)}"


def why(table: str, column: str | None, value: str | None, reason: str) -> str:
    """What is wrong with a refused row, without its place."""
    key = " and ".join(INCOMING[table].key)
    words = _WHY[Refusal(reason)].format(value=value, key=key, days=DAYS_AHEAD.get(column or ""))
    described = _column(table, column)
    if reason == Refusal.OUT_OF_RANGE and described is not None:
        words += f" ({described.low} to {described.high})"
    return words


def fix(table: str, column: str | None, value: str | None, reason: str) -> str:
    """How to fix a refused row.

    Examples
    --------
    >>> fix("lines", "line_type", "pick", "unknown_code")
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
            timed = column in {"done_at", "called_at", "received_at"}
            return _FIX[code].format(time=" or 2031-03-04T18:30" if timed else "")
        case code:
            return _FIX[code]


def further_sentences(table: str, further: str | None) -> str:
    """What else is wrong with a refused row, and how to fix it: blank, or sentences after a blank.

    Parameters
    ----------
    table : str
        Incoming table.
    further : str or None
        As stored: a JSON list of column, value and reason.

    Examples
    --------
    >>> further_sentences("lines", '[["home_from", null, "missing_value"]]')
    ' Also home_from: it is blank but required. Fill it in.'
    """
    parts = []
    for column, value, reason in json.loads(further or "[]"):
        shown = "" if value is None or is_private(table, column, reason) else f' "{_short(value)}"'
        facts = (table, column, value, reason)
        parts.append(f" Also {column}{shown}: {why(*facts)}. {fix(*facts)}")
    return "".join(parts)


def _column(table: str, column: str | None) -> Column | None:
    return next((c for c in INCOMING[table].columns if c.name == column), None)


def is_private(table: str, column: str | None, reason: str) -> bool:
    """Whether no message may repeat a cell; so it is with the sender's own columns."""
    if column is None:
        return True
    described = _column(table, column)
    if described is None:
        return reason != Refusal.UNREADABLE_TICK and column not in {c.name for c in ON_EVERY_ROW}
    return described.sensitivity.is_private


def _short(value: str) -> str:
    flat = " ".join(value.split())
    return flat if len(flat) <= _LONGEST_VALUE else flat[: _LONGEST_VALUE - 1] + "…"


def listed_words(words: Sequence[str]) -> str:
    """Words in a row, the last joined by and."""
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
