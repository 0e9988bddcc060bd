"""Which day, and which moment of it, does a cell's text name?

ISO text is read from its bytes, all rows at once. Another declared order is first rewritten
to ISO by a pattern. The rest is read once for each distinct text, to find what is wrong
with it. Nothing is guessed: an undeclared order is a fault for any numbers.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.reasons import Refusal
from analysis.ingest.zones import DAY, SECOND

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Bytes = npt.NDArray[np.uint8]

NONE = int(np.iinfo(np.int64).min)
"""Means "not written down" in the arrays of `Moments`."""


class DayNumbers(StrEnum):
    """From which day a spreadsheet program counts days: its two systems."""

    NONE = ""
    SYSTEM_1900 = "1900"
    SYSTEM_1904 = "1904"


_FIRST_DAY = {DayNumbers.SYSTEM_1900: "1899-12-30", DayNumbers.SYSTEM_1904: "1904-01-01"}


class DateOrder(StrEnum):
    """In which order a source writes a date."""

    ISO = "iso"
    DMY = "dmy"
    MDY = "mdy"


@dataclass(frozen=True)
class Moments:
    """The moments of a column of cells; one entry a row, `NONE` where it is not written.

    `day` is days since 1970-01-01 as written, `time` microseconds after midnight, `offset`
    microseconds east of UTC. `fault` is -1 or a position in `FAULTS`.
    """

    day: Ints
    time: Ints
    offset: Ints
    fault: npt.NDArray[np.int8]


FAULTS = (
    Refusal.AMBIGUOUS_DATE,
    Refusal.DATE_ORDER,
    Refusal.TWO_DIGIT_YEAR,
    Refusal.UNREADABLE_DATE,
    Refusal.NO_SUCH_DAY,
)
"""What can be wrong with the text of a date."""

_TURNED = {DateOrder.DMY: r"\3-\2-\1", DateOrder.MDY: r"\3-\1-\2"}
_ORDERED = r"^(\d\d)[/.\-](\d\d)[/.\-](\d{4})"
_MONTH_DAYS = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], np.int32)
_DASH, _COLON, _T, _SPACE, _PLUS, _Z = (np.uint8(ord(c)) for c in "-:T +Z")
_ISO = re.compile(
    r"(\d{4})(?:-(\d\d)-(\d\d)|/(\d\d?)/(\d\d?)|\.(\d\d?)\.(\d\d?)\.?)"
    r"(?:[Tt ]\s*(\d\d?):(\d\d)(?::(\d\d)(?:[.,](\d{1,9}))?)?"
    r"(?:\s?([AaPp])\.?[Mm]\.?|\s?(Z|z|[+-]\d\d(?::?\d\d)?))?)?\Z",
    re.ASCII,
)
_SERIAL = re.compile(r"(\d{5})(?:[.,](\d{1,15}))?\Z", re.ASCII)
_SHORT_YEAR = r"^(\d\d[/.\-]\d\d[/.\-])({})($|[Tt ,])"
_DAY_MONTH_YEAR = re.compile(r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d+)(?:[Tt ,].*)?\Z", re.ASCII)


@dataclass(frozen=True)
class DateStyle:
    """How a source writes a date.

    `short_years`: years of two digits are read, 90 to 99 as 1990 to 1999, the others as 2000 to
    2089. `day_numbers`: a number of five digits is the day of a spreadsheet program.
    """

    order: DateOrder = DateOrder.ISO
    short_years: bool = False
    day_numbers: DayNumbers = DayNumbers.NONE


ISO_STYLE = DateStyle()


def read_moments(cells: pa.Array, style: DateStyle = ISO_STYLE) -> Moments:
    """Read dates and timestamps from text.

    Parameters
    ----------
    cells : pa.Array of string, length n
        Text without outer spaces; null: not recorded.
    style : DateStyle
        How the source writes dates. Text that starts with a year of four digits is read in any
        style, because it cannot be mistaken for another; so is a 12-hour clock with am or pm.

    Returns
    -------
    Moments
        Arrays of shape (n,).

    Examples
    --------
    >>> found = read_moments(pa.array(["2031-03-04", "03/04/2031", None]))
    >>> found.day.tolist()[0], [FAULTS[f].value for f in found.fault if f >= 0]
    (22342, ['ambiguous_date'])
    """
    written = cells
    if style.order is not DateOrder.ISO:
        cells = _to_iso(cells, style)
    n = len(cells)
    found = Moments(
        day=np.full(n, NONE, np.int64),
        time=np.full(n, NONE, np.int64),
        offset=np.full(n, NONE, np.int64),
        fault=np.full(n, -1, np.int8),
    )
    starts, lengths, data = _bytes_of(cells)
    left = (lengths >= 1) & (lengths < 10)
    rows = np.flatnonzero(lengths >= 10)
    if len(rows):
        day, no_date = _dates(starts[rows], data)
        found.day[rows] = np.where(no_date, NONE, day)
        left[rows] = no_date
        timed = rows[(lengths[rows] > 10) & ~no_date]
        if len(timed):
            time, offset, no_time = _times(starts[timed], lengths[timed], data)
            found.time[timed] = np.where(no_time, NONE, time)
            found.offset[timed] = np.where(no_time, NONE, offset)
            left[timed] = no_time
    _one_by_one(cells, written, np.flatnonzero(left), style, found)
    return found


def _to_iso(cells: pa.Array, style: DateStyle) -> pa.Array:
    """Rewrite day/month/year or month/day/year with one- or two-digit parts to ISO."""
    padded = pc.replace_substring_regex(cells, r"^(\d)([/.\-])", r"0\1\2")
    padded = pc.replace_substring_regex(padded, r"^(\d\d[/.\-])(\d)([/.\-])", r"\10\2\3")
    if style.short_years:
        for years, century in (("9[0-9]", 19), ("[0-8][0-9]", 20)):
            padded = pc.replace_substring_regex(
                padded, _SHORT_YEAR.format(years), rf"\1{century}\2\3"
            )
    turned = pc.replace_substring_regex(padded, _ORDERED, _TURNED[style.order])
    return pc.replace_substring_regex(turned, r"^(\d{4}-\d\d-\d\d[T ])(\d:)", "\\1" + "0\\2")


def _bytes_of(cells: pa.Array) -> tuple[Ints, Ints, Bytes]:
    """Start and length of each text (0 for null) and the bytes they lie in."""
    _, offsets, data = cells.buffers()
    bounds = np.frombuffer(offsets, np.int32)[cells.offset : cells.offset + len(cells) + 1]
    lengths = np.diff(bounds).astype(np.int64)
    if cells.null_count:
        lengths[np.asarray(cells.is_null())] = 0
    text = np.frombuffer(data, np.uint8) if data is not None else np.zeros(0, np.uint8)
    return bounds[:-1].astype(np.int64), lengths, text


def _dates(starts: Ints, data: Bytes) -> tuple[Ints, Mask]:
    """Days named by the first ten bytes, and where these are no ISO date."""
    text = _Text(starts, data)
    century, no_century = text.two(0, 100)
    within, no_within = text.two(2, 100)
    month, no_month = text.two(5, 13)
    day, no_day = text.two(8, 32)
    wrong = no_century | no_within | no_month | no_day | (month < 1) | (day < 1)
    wrong |= (text.byte(4) != _DASH) | (text.byte(7) != _DASH)
    year = century * 100 + within
    leap = (year % 4 == 0) & ((within != 0) | (century % 4 == 0))
    wrong |= day > _MONTH_DAYS[np.where(wrong, 0, month)] + ((month == 2) & leap)
    # Years counted from March, so that the leap day is the last of its year.
    from_march = year - (month <= 2)
    leap_days = from_march // 4 - from_march // 100 + from_march // 400
    days = 365 * from_march + leap_days + (153 * ((month + 9) % 12) + 2) // 5 + day - 719_469
    return days.astype(np.int64), wrong


def _times(starts: Ints, lengths: Ints, data: Bytes) -> tuple[Ints, Ints, Mask]:
    """Time of day and offset of texts with an ISO date; whole seconds at the most."""
    text = _Text(starts, data)
    between = text.byte(10)
    hour, no_hour = text.two(11, 24)
    minute, no_minute = text.two(14, 60)
    has_seconds = (lengths > 16) & (text.byte(16) == _COLON)
    second, no_second = text.two(17, 60)
    wrong = (lengths < 16) | no_hour | no_minute | (text.byte(13) != _COLON)
    wrong |= (between != _T) & (between != _SPACE)
    wrong |= has_seconds & (no_second | (lengths < 19))
    time = ((hour * 60 + minute) * 60 + np.where(has_seconds, second, 0)).astype(np.int64)
    offset = np.full(len(starts), NONE, np.int64)
    zone_at = np.where(has_seconds, 19, 16)
    zoned = np.flatnonzero(~wrong & (lengths != zone_at))
    if len(zoned):
        offset[zoned], wrong[zoned] = _zones(
            starts[zoned] + zone_at[zoned], lengths[zoned] - zone_at[zoned], data
        )
    return time * SECOND, offset, wrong


def _zones(starts: Ints, lengths: Ints, data: Bytes) -> tuple[Ints, Mask]:
    """Offsets written as Z, +09, +0900 or +09:00, and where there is none of these."""
    text = _Text(starts, data)
    sign = text.byte(0)
    hours, no_hours = text.two(1, 15)
    plain, no_plain = text.two(3, 60)
    spaced, no_spaced = text.two(4, 60)
    colon = (lengths == 6) & (text.byte(3) == _COLON)
    minutes = np.where(colon, spaced, np.where(lengths == 5, plain, 0))
    no_minutes = np.where(colon, no_spaced, (lengths == 5) & no_plain)
    signed = ((sign == _PLUS) | (sign == _DASH)) & (colon | (lengths == 5) | (lengths == 3))
    signed &= ~no_hours & ~no_minutes
    zulu = (sign == _Z) & (lengths == 1)
    east = (hours * 60 + minutes).astype(np.int64) * np.where(sign == _DASH, -60, 60) * SECOND
    return np.where(zulu, 0, east), ~(zulu | signed)


@dataclass(frozen=True)
class _Text:
    """Bytes at a place of each text; past the end of all data it is the last byte."""

    starts: Ints
    data: Bytes

    def byte(self, at: int) -> Bytes:
        """One byte of each text."""
        return self.data.take(self.starts + at, mode="clip")

    def two(self, at: int, limit: int) -> tuple[npt.NDArray[np.int32], Mask]:
        """The two-digit number at a place, and where there is none below the limit."""
        tens, ones = self.byte(at) - np.uint8(48), self.byte(at + 1) - np.uint8(48)
        value = tens.astype(np.int32) * 10 + ones
        return value, (tens > 9) | (ones > 9) | (value >= limit)


def _one_by_one(
    cells: pa.Array, written: pa.Array, rows: Ints, style: DateStyle, found: Moments
) -> None:
    """Read what the fast method could not, each distinct text once, or find what is wrong."""
    if not len(rows):
        return
    at = pa.array(rows)
    texts = cells.take(at).dictionary_encode()
    which = np.asarray(texts.indices)
    first = np.unique(which, return_index=True)[1]
    originals = written.take(pa.array(rows[first])).to_pylist()
    answers = [
        _read(text, original, style)
        for text, original in zip(texts.dictionary.to_pylist(), originals, strict=True)
    ]
    table = np.array(answers, np.int64)[which]
    found.day[rows], found.time[rows], found.offset[rows] = table[:, 0], table[:, 1], table[:, 2]
    found.fault[rows] = table[:, 3]


def _read(text: str, original: str, style: DateStyle) -> tuple[int, int, int, int]:
    """Day, time, offset and fault of one text, already turned to ISO where that was possible."""
    numbered = _SERIAL.match(text) if style.day_numbers else None
    if numbered is not None:
        return _of_day_number(numbered, style.day_numbers)
    match = _ISO.match(text)
    if match is None:
        return (NONE, NONE, NONE, FAULTS.index(_unread(original, style)))
    year, *month_and_day = (part for part in match.groups()[:7] if part is not None)
    try:
        whole = "-".join([year, *(part.zfill(2) for part in month_and_day)])
        day = int(np.datetime64(whole, "D").astype(np.int64))
    except ValueError:
        return (NONE, NONE, NONE, FAULTS.index(Refusal.NO_SUCH_DAY))
    parts = match.groups()[7:]
    if parts[0] is None:
        return (day, NONE, NONE, -1)
    hour, minute, second = (int(p or 0) for p in parts[:3])
    half, zone = parts[4], parts[5]
    east, too_far = _offset(zone)
    if half is not None:
        too_far, hour = not 1 <= hour <= 12, hour % 12 + 12 * (half in "Pp")
    if hour > 23 or minute > 59 or second > 59 or too_far:
        return (NONE, NONE, NONE, FAULTS.index(Refusal.UNREADABLE_DATE))
    fraction = int((parts[3] or "0").ljust(9, "0")[:6])
    time = ((hour * 60 + minute) * 60 + second) * SECOND + fraction
    assert time < DAY
    return (day, time, NONE if zone is None else east, -1)


def _of_day_number(match: re.Match[str], system: DayNumbers) -> tuple[int, int, int, int]:
    """Day and time of a spreadsheet program's number of days, to the second."""
    day = int(np.datetime64(_FIRST_DAY[system], "D").astype(np.int64)) + int(match[1])
    if match[2] is None:
        return (day, NONE, NONE, -1)
    seconds = round(float(f"0.{match[2]}") * 86_400)
    day, seconds = day + seconds // 86_400, seconds % 86_400
    return (day, seconds * SECOND, NONE, -1)


def _offset(zone: str | None) -> tuple[int, bool]:
    """Microseconds east of UTC, and whether no clock is set so."""
    if zone is None or zone in {"Z", "z"}:
        return 0, False
    digits = zone[1:].replace(":", "").ljust(4, "0")
    hours, minutes = int(digits[:2]), int(digits[2:])
    east = (hours * 60 + minutes) * 60 * SECOND * (-1 if zone[0] == "-" else 1)
    return east, hours > 14 or minutes > 59


def _unread(text: str, style: DateStyle) -> Refusal:
    """Why a text is no date of the declared style."""
    order = style.order
    match = _DAY_MONTH_YEAR.match(text)
    if match is None:
        return Refusal.UNREADABLE_DATE
    first, second, year = int(match[1]), int(match[2]), match[3]
    if len(year) == 2 and not (style.short_years and order is not DateOrder.ISO):
        return Refusal.TWO_DIGIT_YEAR
    if len(year) not in {2, 4}:
        return Refusal.UNREADABLE_DATE
    if order is DateOrder.ISO:
        both = first <= 12 and second <= 12
        return Refusal.AMBIGUOUS_DATE if both else Refusal.DATE_ORDER
    day, month = (first, second) if order is DateOrder.DMY else (second, first)
    if 1 <= day <= 31 and 1 <= month <= 12:
        return Refusal.UNREADABLE_DATE  # the date is fine, what follows it is not
    return Refusal.NO_SUCH_DAY
