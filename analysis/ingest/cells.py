"""What is the value of each cell of a batch, by the kind of its column?

Words, codes and numbers are read once for each distinct text, dates from their bytes. A cell that
can't be read is marked and counts as blank.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from analysis.days import day_number
from analysis.ingest.faulty import Faults
from analysis.ingest.limits import EARLIEST, EARLIEST_BORN, LATEST
from analysis.ingest.moments import FAULTS, NONE, DateStyle, Moments, read_moments
from analysis.ingest.profile import NO, YES
from analysis.ingest.reasons import Refusal
from analysis.ingest.zones import DAY, local_days, to_utc
from analysis.tables.columns import Column
from analysis.tables.kinds import Kind
from analysis.vocabulary import NOTHING_SEEN

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

SEMICOLON = re.compile(";")
"""What is between the codes of a list where the source has nothing else."""

_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:[.,' \u2019\u00a0\u202f][0-9]{3})+(?![0-9])")
_WHOLE = re.compile(r"[+-]?[0-9]{1,15}(\.0*)?\Z")
_MONTH = re.compile(r"[0-9]{4}-[0-9]{2}\Z")
_NO_WORDS: Mapping[str, str] = {}


@dataclass(frozen=True)
class Reading:
    """How a source's cells are to be read.

    `zone` is the source's clock, `programme_zone` the one in which days are counted;
    `lists` holds the known codes of each list column, `words` the source's words by column,
    `separators` what is between the codes of a list column, if not a semicolon alone.
    """

    style: DateStyle
    zone: str
    programme_zone: str
    lists: Mapping[str, frozenset[str]]
    words: Mapping[str, Mapping[str, str]]
    separators: Mapping[str, re.Pattern[str]] = field(default_factory=dict)
    decimal_mark: str = ""


def read_codes(cells: pa.Array, column: Column, reading: Reading, faults: Faults) -> pa.Array:
    """Return the canonical words of a column of codes or of lists of codes; null where blank."""
    words = reading.words.get(column.name, _NO_WORDS)
    if column.kind is Kind.CODES:
        known = reading.lists[column.name]
        separator = reading.separators.get(column.name, SEMICOLON)

        def read(text: str) -> str | Refusal:
            return _list(text, known, words, separator)

    else:
        allowed = frozenset(column.allowed)

        def read(text: str) -> str | Refusal:
            plain = text.casefold()
            word = words.get(plain, plain)
            return word if word in allowed else Refusal.UNKNOWN_CODE

    return _by_distinct(cells, column.name, read, faults)


def read_words(cells: pa.Array, column: Column, reading: Reading) -> pa.Array:
    """Text as written, with the source's own words replaced."""
    words = reading.words.get(column.name)
    if not words:
        return cells
    distinct = cells.dictionary_encode()
    texts = distinct.dictionary.to_pylist()
    replaced = pa.array([words.get(text.casefold(), text) for text in texts], pa.string())
    return replaced.take(distinct.indices)


def _list(
    text: str, known: frozenset[str], words: Mapping[str, str], separator: re.Pattern[str]
) -> str | Refusal:
    """Codes of a list without repeats, in order of the alphabet."""
    whole = words.get(text.casefold())
    parts = SEMICOLON.split(whole) if whole else separator.split(text.casefold())
    codes = {words.get(part.strip(), part.strip()) for part in parts} - {""}
    if not codes or not codes <= known | {NOTHING_SEEN}:
        return Refusal.UNKNOWN_CODE
    if NOTHING_SEEN in codes and len(codes) > 1:
        return Refusal.NONE_WITH_CODES
    return ";".join(sorted(codes))


def _by_distinct(
    cells: pa.Array, column: str, read: Callable[[str], str | Refusal], faults: Faults
) -> pa.Array:
    """Read each distinct text once."""
    distinct = cells.dictionary_encode()
    answers = [read(text) for text in distinct.dictionary.to_pylist()]
    good = [None if isinstance(answer, Refusal) else answer for answer in answers]
    if any(answer is None for answer in good):
        _mark_answers(distinct, answers, column, faults)
    return pa.array(good, pa.string()).take(distinct.indices)


def _mark_answers(
    distinct: pa.DictionaryArray,
    answers: list[str | Refusal] | list[int | Refusal],
    column: str,
    faults: Faults,
) -> None:
    reasons = list(dict.fromkeys(a for a in answers if isinstance(a, Refusal)))
    number = {reason: at for at, reason in enumerate(reasons)}
    coded = [number[a] if isinstance(a, Refusal) else -1 for a in answers]
    of_row = np.array([*coded, -1], np.int64)[_indices(distinct)]
    for reason, at in number.items():
        faults.mark(of_row == at, column, reason)


def _indices(distinct: pa.DictionaryArray) -> Ints:
    """Position of each row's text in the dictionary; blank: one past its end."""
    indices = distinct.indices
    if indices.null_count:
        indices = indices.fill_null(len(distinct.dictionary))
    return np.asarray(indices).astype(np.int64)


def read_counts(cells: pa.Array, column: Column, faults: Faults, decimal_mark: str = "") -> Ints:
    """Whole numbers of a column, `NONE` where blank.

    With a decimal mark (``.`` or ``,``) thousands may be set apart by the other of the two, a
    space or an apostrophe.
    """
    low = 0 if column.low is None else column.low
    high = 2**53 if column.high is None else column.high

    def read(text: str) -> int | Refusal:
        if decimal_mark:
            text = _plain_number(text, decimal_mark)
        if _WHOLE.match(text) is None:
            return Refusal.NOT_A_WHOLE_NUMBER
        value = int(text.partition(".")[0])
        return value if low <= value <= high else Refusal.OUT_OF_RANGE

    distinct = cells.dictionary_encode()
    answers = [read(text) for text in distinct.dictionary.to_pylist()]
    if any(isinstance(answer, Refusal) for answer in answers):
        _mark_answers(distinct, answers, column.name, faults)
    values = [NONE if isinstance(answer, Refusal) else answer for answer in answers]
    return np.array([*values, NONE], np.int64)[_indices(distinct)]


def _plain_number(text: str, decimal_mark: str) -> str:
    """A number without thousands marks and with a point."""
    whole, mark, rest = text.partition(decimal_mark)
    if _THOUSANDS.fullmatch(whole):
        whole = "".join(c for c in whole if c in "+-0123456789")
    return f"{whole}.{rest}" if mark else whole


def read_flag(cells: pa.Array, column: str, reading: Reading, faults: Faults) -> Mask:
    """Yes or no; blank is no."""
    words_of_source = reading.words.get(column, _NO_WORDS)

    def read(text: str) -> str | Refusal:
        plain = words_of_source.get(text.casefold(), text).casefold()
        known = plain in YES or plain in NO
        return ("yes" if plain in YES else "no") if known else Refusal.UNKNOWN_CODE

    words = _by_distinct(cells, column, read, faults)
    return np.asarray(pa.compute.equal(words, "yes").fill_null(False))


def read_dates(cells: pa.Array, column: Column, reading: Reading, faults: Faults) -> Ints:
    """Days since 1970-01-01 of a column of dates or months; `NONE` where blank.

    A month is its first day; of a whole date in a column of months only the month is kept.
    """
    is_month = column.kind is Kind.MONTH
    if is_month:
        cells = _first_of_month(cells)
    found = read_moments(cells, reading.style)
    _mark_moments(found, column.name, faults, month=is_month)
    timed = found.time != NONE
    midnight = (found.time == 0) & (found.offset == NONE)
    faults.mark(timed & ~midnight, column.name, Refusal.TIME_IN_DATE)
    days = np.where(timed & ~midnight, NONE, found.day)
    if is_month:
        first = days.astype("datetime64[D]").astype("datetime64[M]").astype("datetime64[D]")
        days = np.where(days == NONE, NONE, first.astype(np.int64))
    earliest = EARLIEST_BORN if is_month else EARLIEST
    return _plausible(days, days, earliest, column.name, faults)


def _first_of_month(cells: pa.Array) -> pa.Array:
    distinct = cells.dictionary_encode()
    texts = [f"{t}-01" if _MONTH.match(t) else t for t in distinct.dictionary.to_pylist()]
    return pa.array(texts, pa.string()).take(distinct.indices)


def _mark_moments(found: Moments, column: str, faults: Faults, *, month: bool = False) -> None:
    if (found.fault < 0).all():
        return
    for at, reason in enumerate(FAULTS):
        unread = month and reason is Refusal.UNREADABLE_DATE
        faults.mark(found.fault == at, column, Refusal.UNREADABLE_MONTH if unread else reason)


def _plausible(values: Ints, days: Ints, earliest: date, column: str, faults: Faults) -> Ints:
    """The values whose day is neither before `earliest` nor after the last plausible one."""
    low, high = (day_number(d) for d in (earliest, LATEST))
    wrong = (days != NONE) & ((days < low) | (days > high))
    if not wrong.any():
        return values
    faults.mark(wrong, column, Refusal.IMPLAUSIBLE_DATE)
    return np.where(wrong, NONE, values)


@dataclass(frozen=True)
class Timed:
    """Days and moments of a column; `twice` marks clock times that were shown twice.

    `day` is the day in the programme's zone, `utc` microseconds since 1970-01-01 UTC; both
    are `NONE` where blank, `utc` also where only a date was written. `elsewhere` marks moments
    whose clock is not the programme's, so that their day depends on the programme's zone.
    """

    day: Ints
    utc: Ints
    twice: Mask
    elsewhere: Mask


def read_instants(cells: pa.Array, column: str, reading: Reading, faults: Faults) -> Timed:
    """Dates or timestamps; a time without an offset is one of the source's clock."""
    found = read_moments(cells, reading.style)
    _mark_moments(found, column, faults)
    day = found.day.copy()
    utc = np.full(len(day), NONE, np.int64)
    twice = np.zeros(len(day), np.bool_)
    elsewhere = np.zeros(len(day), np.bool_)
    timed = np.flatnonzero(found.time != NONE)
    if len(timed):
        clock = found.day[timed] * DAY + found.time[timed]
        offset = found.offset[timed]
        local = offset == NONE
        elsewhere[timed] = ~local | (reading.zone != reading.programme_zone)
        moment = clock - np.where(local, 0, offset)
        if local.any():
            located = to_utc(clock[local], reading.zone)
            moment[local] = located.utc
            never = np.zeros(len(day), np.bool_)
            never[timed[local]] = located.never
            faults.mark(never, column, Refusal.NO_SUCH_TIME)
            twice[timed[local]] = located.twice
        utc[timed] = moment
        day[timed] = local_days(moment, reading.programme_zone)
    day = _plausible(day, day, EARLIEST, column, faults)
    return Timed(day, np.where(day == NONE, NONE, utc), twice, elsewhere)


def read_received(
    cells: pa.Array | None, default: int, now: int, reading: Reading, faults: Faults
) -> Ints:
    """Moments of receipt, microseconds UTC; blank: `default`.

    A date alone means the end of that day in the programme's zone: a call made that day
    cannot have answered a row that may have been received after it. Today means `now`, the moment
    of ingest in microseconds UTC: by then the row is there.
    """
    if cells is None:
        return np.full(len(faults.reason), default, np.int64)
    found = read_instants(cells, "received_at", reading, faults)
    received = found.utc.copy()
    dated = np.flatnonzero((found.utc == NONE) & (found.day != NONE))
    if len(dated):
        day, zone = found.day[dated], reading.programme_zone
        end = to_utc((day + 1) * DAY, zone).utc - 1
        today = local_days(np.array([now], np.int64), zone)[0]
        received[dated] = np.where(day == today, now, end)
    return np.where(received == NONE, default, received)
