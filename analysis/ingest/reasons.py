"""Why can a file or a row not be used, and what is odd about a row that can?

Codes only: they are stored with the row; `sentences` puts them into words.
"""

from __future__ import annotations

from enum import StrEnum


class FileFault(StrEnum):
    """Why nothing of a file was imported."""

    NOT_FOUND = "not_found"
    NOT_ALLOWED = "not_allowed"
    UNREADABLE = "unreadable"
    NOTHING_IN_FOLDER = "nothing_in_folder"
    EMPTY = "empty"
    BINARY = "binary"
    COMPRESSED = "compressed"
    ARCHIVE = "archive"
    OLD_WORKBOOK = "old_workbook"
    PASSWORD = "password"  # noqa: S105
    BROKEN_WORKBOOK = "broken_workbook"
    BROKEN_PARQUET = "broken_parquet"
    UNPACKS_TOO_LARGE = "unpacks_too_large"
    SHEET_TOO_LARGE = "sheet_too_large"
    UTF_16 = "utf_16"
    WRONG_ENCODING = "wrong_encoding"
    QUOTE = "quote"
    ROW_TOO_LONG = "row_too_long"
    TABLE_UNKNOWN = "table_unknown"
    TABLE_AMBIGUOUS = "table_ambiguous"
    NO_HEAD = "no_head"
    HEADS_MISSING = "heads_missing"
    HEADS_CHANGED = "heads_changed"
    HEADS_TWICE = "heads_twice"
    COLUMN_TYPE = "column_type"
    CHANGED_MEANWHILE = "changed_meanwhile"
    RECEIPT_AHEAD = "receipt_ahead"
    ZONE_NOT_SET = "zone_not_set"


class Refusal(StrEnum):
    """Why a row was refused."""

    RAGGED_ROW = "ragged_row"
    CONTROL_CHARACTER = "control_character"
    CELL_TOO_LONG = "cell_too_long"
    ERROR_CELL = "error_cell"
    FORMULA_WITHOUT_VALUE = "formula_without_value"
    MISSING_VALUE = "missing_value"
    UNKNOWN_CODE = "unknown_code"
    NONE_WITH_CODES = "none_with_codes"
    UNREADABLE_TICK = "unreadable_tick"
    TICK_WITHOUT_PROFILE = "tick_without_profile"
    NOT_A_WHOLE_NUMBER = "not_a_whole_number"
    OUT_OF_RANGE = "out_of_range"
    AMBIGUOUS_DATE = "ambiguous_date"
    DATE_ORDER = "date_order"
    TWO_DIGIT_YEAR = "two_digit_year"
    UNREADABLE_DATE = "unreadable_date"
    NO_SUCH_DAY = "no_such_day"
    NO_TIME = "no_time"
    TIME_IN_DATE = "time_in_date"
    UNREADABLE_MONTH = "unreadable_month"
    NO_SUCH_TIME = "no_such_time"
    IMPLAUSIBLE_DATE = "implausible_date"
    IN_THE_FUTURE = "in_the_future"
    TOO_FAR_AHEAD = "too_far_ahead"
    RECEIPT_AHEAD = "receipt_ahead"
    HOME_BEFORE_PLACED = "home_before_placed"
    REMOVAL_INCOMPLETE = "removal_incomplete"
    ENDED_BEFORE_PLACED = "ended_before_placed"
    BORN_AFTER_PLACED = "born_after_placed"
    STAY_OF_NO_NIGHT = "stay_of_no_night"
    STAY_ENDS_BEFORE_START = "stay_ends_before_start"
    BEFORE_PLACED = "before_placed"
    UNKNOWN_LINE = "unknown_line"
    UNKNOWN_CHILD = "unknown_child"
    UNKNOWN_FAMILY = "unknown_family"
    NO_LINE_THAT_DAY = "no_line_that_day"
    SEVERAL_LINES_THAT_DAY = "several_lines_that_day"
    LINE_OF_OTHER_FAMILY = "line_of_other_family"
    LINE_OF_OTHER_CHILD = "line_of_other_child"
    DUPLICATE_KEY = "duplicate_key"


class Doubt(StrEnum):
    """What is odd about an imported row."""

    TIME_TWICE = "time_twice"
    CHANGE_DURING_STAY = "change_during_stay"
    AFTER_END = "after_end"
    CAREGIVER_OF_OTHER_FAMILY = "caregiver_of_other_family"
    UNKNOWN_CAREGIVER = "unknown_caregiver"
    UNKNOWN_FAMILY = "unknown_family"
    CONNECTOR_TOO_SOON = "connector_too_soon"
    DRESSING_ON_OUTSIDE = "dressing_on_outside"
    CONFIRMED_BEFORE_ONSET = "confirmed_before_onset"
    MOVES_FAMILY = "moves_family"
    OLDER_VERSION = "older_version"
    LOOKS_LIKE_CORRECTION = "looks_like_correction"
    CALL_AGAIN_BEFORE_CALL = "call_again_before_call"
