"""The sentences of the call list: every reason, order and capacity in plain words.

Reasons come as data (code, dates, counts, names) and become sentences here and nowhere else;
the command, the pages, reports and exports all show these.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.tables.codes import cells_at, is_among
from analysis.vocabulary import Reason
from analysis.words import MONTHS

if TYPE_CHECKING:
    from analysis.decisions.daily_capacity import DailyCapacity

RULE_ORDER = (
    "Red flags: newest first. Other families: not yet tried today, then most days overdue, then "
    "number of reasons, then longest without contact."
)
NO_FITTED_ORDER = "No fitted order is in use."

_MONTHS = np.array(MONTHS)
Words = npt.NDArray[np.object_]


class _Rows:
    """The data of the reasons of one kind: arrays, a row each."""

    def __init__(self, reasons: pd.DataFrame, at: npt.NDArray[np.intp], as_of: date) -> None:
        self._reasons, self._at, self._as_of = reasons, at, as_of

    def _cells(self, name: str) -> Any:
        return self._reasons[name].array.take(self._at)

    def words(self, name: str) -> Words:
        return np.asarray(self._cells(name), dtype=object)

    def yes(self, name: str) -> npt.NDArray[np.bool_]:
        return np.asarray(self._cells(name), dtype=np.bool_)

    def number(self, name: str) -> npt.NDArray[np.int64]:
        return np.asarray(self._cells(name), dtype=np.int64)

    def on(self, name: str) -> npt.NDArray[np.datetime64]:
        return np.asarray(self._cells(name), dtype="datetime64[s]")

    def day(self, name: str) -> Words:
        return _day_words(pd.DatetimeIndex(self.on(name)), self._as_of)


_Sentence = Callable[[_Rows], Words]


def reason_sentences(reasons: pd.DataFrame, as_of: date) -> pd.Series[str]:
    """Return the sentence of each reason.

    Parameters
    ----------
    reasons : DataFrame
        Columns of `CALL_REASONS` but the sentence; any index.
    as_of : date
        Day of the list; dates of another year show their year.

    Returns
    -------
    Series
        One sentence a row, without the line.

    Examples
    --------
    >>> from analysis.tables.calls import CALL_REASONS
    >>> reason = {"family_id": ["F1"], "reason": ["silent"], "band": ["call_this_week"],
    ...     "not_logged": [False], "last_heard_on": ["2031-03-01"],
    ...     "home_since": ["2031-02-01"], "silent_days": [9], "sentence": [""]}
    >>> print(*reason_sentences(CALL_REASONS.build(reason), date(2031, 3, 10)))
    No log entries for 9 days (last entry 1 Mar).
    """
    which, kinds = pd.factorize(reasons["reason"])
    made = np.empty(len(reasons), dtype=object)
    for number, reason in enumerate(kinds):
        at = np.flatnonzero(which == number)
        made[at] = _SENTENCES[Reason(str(reason))](_Rows(reasons, at, as_of))
    return pd.Series(made, index=reasons.index, dtype="string")


def with_line(reasons: pd.DataFrame, lines: pd.DataFrame) -> pd.Series[str]:
    """Return the sentences of reasons, naming the line where its family has several at home.

    Parameters
    ----------
    reasons : DataFrame
        Columns of `CALL_REASONS`.
    lines : DataFrame
        Columns of `HOME_LINES`.
    """
    at_home = lines["at_home"].to_numpy(dtype=bool)
    own = np.flatnonzero(at_home & is_among(lines["family_id"], reasons["family_id"]))
    here = pd.Series(cells_at(lines["family_id"].array, own))
    repeated = here.duplicated().to_numpy()
    sentence = reasons["sentence"].astype("string")
    if not repeated.any():
        return sentence
    several = is_among(reasons["family_id"], here[repeated])
    several &= reasons["line_id"].notna().to_numpy()
    return sentence.where(~several, "Line " + reasons["line_id"] + ": " + sentence)


def postponed_sentences(until: pd.Series[Any], made_by: pd.Series[str], as_of: date) -> Any:
    """Say until when families are postponed, and who did it."""
    return "Postponed until " + day_words(until, as_of) + " by " + made_by + "."


def attempt_sentences(
    families: pd.DataFrame, today: pd.Series[bool], zone: ZoneInfo, as_of: date, limit: int
) -> pd.Series[str]:
    """Which calls got no answer; blank for families without one.

    Parameters
    ----------
    families : DataFrame
        `tried_at` (UTC) and `attempt_days`.
    today : Series of bool
        The newest attempt was made on the day of the list.
    zone : ZoneInfo
        The programme's time zone.
    as_of : date
        Day of the list.
    limit : int
        Days in a row with attempts after which another way to reach the family is asked for.

    Examples
    --------
    >>> tried = pd.to_datetime(pd.Series(["2031-03-10T08:10", "2031-03-09T15:00", None]))
    >>> families = pd.DataFrame({"tried_at": tried, "attempt_days": [1, 2, 0]})
    >>> today = pd.Series([True, False, False])
    >>> found = attempt_sentences(families, today, ZoneInfo("Europe/Paris"), date(2031, 3, 10), 2)
    >>> for sentence in found.dropna():
    ...     print(sentence)
    Tried 09:10, no answer.
    Tried 9 Mar, no answer. No answer on 2 days in a row: find another way to reach the family.
    """
    local = families["tried_at"].dt.tz_localize("UTC").dt.tz_convert(zone)
    when = local.dt.strftime("%H:%M").astype("string")
    when = when.where(today.to_numpy(dtype=bool), day_words(local.dt.tz_localize(None), as_of))
    days = families["attempt_days"].astype("Int64")
    more = " No answer on " + days.astype("string") + " days in a row: find another way to reach "
    more = (more + "the family.").where((days >= limit).fillna(value=False), "")
    return ("Tried " + when + ", no answer." + more).where(local.notna()).astype("string")


def expected_sentences(share: npt.NDArray[np.float64]) -> Words:
    """Say expected shares as natural frequencies; None where there is no share.

    Examples
    --------
    >>> for sentence in expected_sentences(np.array([0.31, 0.042, 0.001, 0.97])):
    ...     print(sentence)
    On about 3 in 10 mornings like this, harm followed within 7 days.
    On about 4 in 100 mornings like this, harm followed within 7 days.
    On fewer than 1 in 100 mornings like this, harm followed within 7 days.
    On more than 9 in 10 mornings like this, harm followed within 7 days.
    """
    known = np.nan_to_num(share)
    tens = np.char.add(np.char.add("about ", np.rint(known * 10).astype(int).astype(str)), " in 10")
    hundreds = np.char.add(
        np.char.add("about ", np.rint(known * 100).astype(int).astype(str)), " in 100"
    )
    how_often = np.select(
        [known < 0.01, known < 0.095, known < 0.95],
        ["fewer than 1 in 100", hundreds, tens],
        "more than 9 in 10",
    )
    sentence = np.char.add(
        np.char.add("On ", how_often), " mornings like this, harm followed within 7 days."
    )
    words: Words = sentence.astype(object)
    words[np.isnan(share)] = None
    return words


def capacity_sentence(today: DailyCapacity) -> str:
    """How many families there are to call, and how many calls can be made.

    Examples
    --------
    >>> from analysis.decisions.daily_capacity import DailyCapacity
    >>> for made, listed, same_day in ((0, 18, 2), (3, 1, 0), (3, 0, 0), (22, 18, 5), (0, 31, 2)):
    ...     print(capacity_sentence(DailyCapacity(1, 25, made, listed, same_day)))
    18 families to call; capacity for 25 calls today (1 nurse x 25).
    1 family to call; 22 of 25 calls left today (1 nurse x 25).
    No families left to call; 22 of 25 calls left today (1 nurse x 25).
    18 families to call; 3 of 25 calls left today (1 nurse x 25). Same-day reviews come first, also beyond capacity: 5.
    31 families to call; capacity for 25 calls today (1 nurse x 25). 6 are beyond today's calls.
    """
    nurses = "1 nurse" if today.nurses == 1 else f"{today.nurses:,} nurses"
    calls = "1 call" if today.possible == 1 else f"{today.possible:,} calls"
    listed = f"{_families(today.listed)} to call" if today.listed else "No families left to call"
    left = f"{today.left:,} of {calls} left" if today.made else f"capacity for {calls}"
    sentence = f"{listed}; {left} today ({nurses} x {today.a_nurse:,})."
    if today.same_day > today.left:
        return f"{sentence} Same-day reviews come first, also beyond capacity: {today.same_day:,}."
    if today.beyond:
        are = "is" if today.beyond == 1 else "are"
        return f"{sentence} {today.beyond:,} {are} beyond today's calls."
    return sentence


def beyond_sentence(today: DailyCapacity) -> str:
    """Which families come after the last of today's calls."""
    below = "1 family" if today.beyond == 1 else f"{today.beyond:,} families"
    are = "is" if today.beyond == 1 else "are"
    return f"Daily limit reached. The {below} below {are} beyond today's calls."


def _families(number: int) -> str:
    return "1 family" if number == 1 else f"{number:,} families"


def day_words(days: pd.Series[Any], as_of: date) -> pd.Series[str]:
    """Write dates as people say them: "3 Mar", with the year where it is not the as-of day's.

    Examples
    --------
    >>> days = pd.Series(pd.to_datetime(["2031-03-03", "2030-12-24"]))
    >>> list(day_words(days, date(2031, 3, 9)))
    ['3 Mar', '24 Dec 2030']
    >>> list(day_words(pd.Series(pd.to_datetime(["2031-03-23", None])), date(2031, 3, 29)))
    ['23 Mar', 'an unknown day']
    """
    return pd.Series(_day_words(pd.DatetimeIndex(days), as_of), index=days.index, dtype="string")


def _day_words(at: pd.DatetimeIndex, as_of: date) -> Words:
    known = ~np.asarray(at.isna())
    words = np.full(len(at), "an unknown day", dtype=object)
    day = at.day[known].to_numpy(dtype=np.int64).astype(str).astype(object)
    month = _MONTHS[at.month[known].to_numpy(dtype=np.int64) - 1].astype(object)
    year = at.year[known].to_numpy(dtype=np.int64)
    shown_year = np.where(year == as_of.year, "", " " + year.astype(str).astype(object))
    words[known] = day + " " + month + shown_year
    return words


def _counted(number: npt.NDArray[np.int64], one: str, many: str) -> Words:
    """Return number and noun: "1 day", "3 days"."""
    noun = np.where(number == 1, f" {one}", f" {many}").astype(object)
    counted: Words = _text(number) + noun
    return counted


def _text(number: npt.NDArray[np.int64]) -> Words:
    return number.astype(str).astype(object)


def _capital(texts: Words) -> Words:
    series = pd.Series(texts, dtype="string")
    return np.asarray(series.str[:1].str.upper() + series.str[1:], dtype=object)


def _red_flag(found: _Rows) -> Words:
    first, last = found.day("first_on"), found.day("seen_on")
    several = found.on("first_on") < found.on("seen_on")
    when = np.where(several, "between " + first + " and " + last, last)
    return _capital(found.words("names")) + ", reported " + when + "."


def _compromised(found: _Rows) -> Words:
    seen = found.words("names") + " on " + found.day("seen_on")
    return "Dressing found " + seen + ", no change logged since."


def _overdue(what: str, last: str) -> _Sentence:
    def sentence(found: _Rows) -> Words:
        how = np.where(found.yes("not_logged"), " overdue or not logged", " overdue").astype(object)
        changed, due = found.day("last_change_on"), found.day("allowed_until")
        days = _counted(found.number("days_overdue"), "day", "days")
        return f"{what} " + days + how + f" ({last} " + changed + ", due by " + due + ")."

    return sentence


def _skin_event_open(found: _Rows) -> Words:
    seen = _capital(found.words("names")) + " on " + found.day("seen_on")
    return seen + ", no clear skin check since."


def _silent(found: _Rows) -> Words:
    home_since, heard_on = found.on("home_since"), found.on("last_heard_on")
    home = "at home since " + found.day("home_since")
    last = "last entry " + found.day("last_heard_on")
    since = np.where(home_since > heard_on, home + ", " + last, last)
    since = np.where(np.isnat(heard_on), home + ", none yet", since)
    return (
        "No log entries for "
        + _counted(found.number("silent_days"), "day", "days")
        + (" (" + since + ").")
    )


def _state_unknown(found: _Rows) -> Words:
    return "No dressing change known since coming home on " + found.day("seen_on") + "."


def _early_failures(found: _Rows) -> Words:
    of = _counted(found.number("out_of"), "dressing was", "dressings were")
    return _text(found.number("number")) + " of the last " + of + " loose, damp or soiled early."


def _late_pattern(found: _Rows) -> Words:
    of = _counted(found.number("out_of"), "change was", "changes were")
    return _text(found.number("number")) + " of the last " + of + " late."


def _kits_short(found: _Rows) -> Words:
    left, since = found.number("kits_left"), found.number("used")
    counted, used = _text(left) + " on " + found.day("seen_on") + ", ", _text(since)
    low = "Running low on kits: " + counted + used + " used since."
    out = "No kits left by the count: " + counted + used + " changes since."
    return np.where((since >= left) & (since > 0), out, low)


def _no_sign_off(found: _Rows) -> Words:
    return "Dressing changed by " + found.words("names") + " without a current sign-off."


_SENTENCES: dict[Reason, _Sentence] = {
    Reason.RED_FLAG: _red_flag,
    Reason.COMPROMISED: _compromised,
    Reason.OVERDUE: _overdue("Dressing change", "last changed"),
    Reason.SKIN_EVENT_OPEN: _skin_event_open,
    Reason.SILENT: _silent,
    Reason.STATE_UNKNOWN: _state_unknown,
    Reason.EARLY_FAILURES: _early_failures,
    Reason.LATE_PATTERN: _late_pattern,
    Reason.KITS_SHORT: _kits_short,
    Reason.NO_SIGN_OFF: _no_sign_off,
    Reason.OVERDUE_CONNECTOR: _overdue("Connector change", "last changed"),
    Reason.OVERDUE_NEEDLE: _overdue("Needle change", "last changed"),
    Reason.OVERDUE_FLUSH: _overdue("Flush", "last flushed"),
}
