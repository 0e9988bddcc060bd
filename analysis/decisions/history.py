"""What was known on any earlier morning, without asking the store again for each?

Every version of every row is held once, in order of receipt. What was known at a moment is then
one mask: received by it, not withdrawn, and no later version received by it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandas.api.types import union_categoricals

from analysis.policy import Policy
from analysis.tables.records import Records
from analysis.tables.versions import replaced

Ints = npt.NDArray[np.int64]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Versions:
    """Every version of the rows of a table, in order of receipt."""

    frame: pd.DataFrame
    received: Ints
    """Microseconds UTC; never falls."""
    next_at: Ints
    """Position of the next version of the same key; the length of the frame for none."""
    void: npt.NDArray[np.bool_]
    """The row withdraws its key."""
    key: Ints
    """Same number, same key."""

    @classmethod
    def of(cls, frame: pd.DataFrame, key: npt.ArrayLike, void: npt.ArrayLike) -> Versions:
        """Put versions in order.

        Parameters
        ----------
        frame : DataFrame
            Columns `row` and `received_at` among others; one row a version.
        key : array_like of int, shape (n,)
            Same number, same key.
        void : array_like of bool, shape (n,)
            The version withdraws its key.

        Notes
        -----
        Of versions received at one moment the one stored last counts.
        *Source:* project definition, definitions §2.
        """
        received = np.asarray(frame["received_at"], dtype="datetime64[us]").astype(np.int64)
        order = np.lexsort((frame["row"].to_numpy(), received))
        keys = np.asarray(key, dtype=np.int64)[order]
        n = len(order)
        by_key = np.lexsort((np.arange(n), keys))
        same = keys[by_key[1:]] == keys[by_key[:-1]]
        next_at = np.full(n, n, dtype=np.int64)
        next_at[by_key[:-1][same]] = by_key[1:][same]
        withdrawn = np.asarray(void, dtype=np.bool_)[order]
        return cls(frame.take(order), received[order], next_at, withdrawn, keys)

    @classmethod
    def of_known(cls, frame: pd.DataFrame, revised: Versions) -> Versions:
        """Put the rows in force and the versions of those with several (`revised`) together."""
        frame = frame[~np.isin(frame["row"].to_numpy(), revised.frame["row"].to_numpy())]
        if "received_at" not in frame:  # an arrangement is received when it is made
            frame = frame.assign(received_at=frame["made_at"])
        again = revised.frame[list(frame.columns)]
        words = {
            name: pd.CategoricalDtype(union_categoricals([frame[name], again[name]]).categories)
            for name, kind in frame.dtypes.items()
            if isinstance(kind, pd.CategoricalDtype)
        }
        parts = [part.astype(words, copy=False) for part in (frame, again) if len(part)]
        whole = pd.concat(parts, ignore_index=True) if parts else frame
        # Rows are numbered from 1, so no number is that of two keys.
        key = np.concatenate([frame["row"].to_numpy(dtype=np.int64), -1 - revised.key])
        return cls.of(whole, key, np.append(np.zeros(len(frame), dtype=np.bool_), revised.void))

    def only(self, chosen: npt.ArrayLike) -> Versions:
        """The versions of all keys of which one is among the chosen (bool, one a version)."""
        at = np.flatnonzero(np.isin(self.key, self.key[np.asarray(chosen, dtype=np.bool_)]))
        place = np.full(len(self.key) + 1, len(at), dtype=np.int64)
        place[at] = np.arange(len(at))
        next_at = place[self.next_at[at]]
        return Versions(
            self.frame.take(at), self.received[at], next_at, self.void[at], self.key[at]
        )

    def known(self, at: int) -> Ints:
        """Positions of the versions in force at a moment, in microseconds UTC."""
        n = int(np.searchsorted(self.received, at, side="right"))
        return np.flatnonzero((self.next_at[:n] >= n) & ~self.void[:n])

    def in_force(self, moments: Ints) -> tuple[Ints, Ints]:
        """By version, the place of the first moment that knows it, and of the first that knows another.

        `moments` are in order; a version is in force at those from the first place to before the
        second, as in `known`.
        """
        first = np.searchsorted(moments, self.received).astype(np.int64)
        stop = np.append(first, len(moments))[self.next_at]
        return first, np.where(self.void, first, stop)

    def earlier(self, at: int) -> Ints:
        """Positions of the versions replaced by a moment, without a withdrawal since."""
        n = int(np.searchsorted(self.received, at, side="right"))
        return np.flatnonzero(replaced(self.key[:n], self.void[:n]))


@dataclass(frozen=True)
class History:
    """Every version of every table, and every recorded call and arrangement."""

    tables: Mapping[str, Versions]
    calls: Versions
    """A call and its undoing are two versions of one key; the second is void."""
    arrangements: Versions
    """Likewise."""

    @classmethod
    def of_known(cls, records: Records, revised: Mapping[str, Versions]) -> History:
        """Put the rows in force and those that were ever corrected or withdrawn together.

        Parameters
        ----------
        records : Records
            As known at a time: rows received later are in the history only if they are revised.
        revised : mapping of table to Versions
            Every version of the keys that have several, and of the arrangements.

        Returns
        -------
        History
            What is in force and not revised was never anything else.
        """
        tables = {
            name: Versions.of_known(getattr(records, name), versions)
            for name, versions in revised.items()
        }
        calls, arrangements = tables.pop("calls"), tables.pop("arrangements")
        return cls(tables, calls, arrangements)

    def records(self, known_at: datetime, by: date | None = None) -> Records:
        """Every record in its newest version received by a moment.

        Parameters
        ----------
        known_at : datetime
            With its time zone.
        by : date, optional
            Leave out home-log entries of families that by what was known have no line in place
            and come home on this day: they can have no reason to be called.
        """
        at = microseconds(known_at)
        frames: dict[str, Any] = {
            n: v.frame.take(v.known(at)) for n, v in self.tables.items() if n != "home_log"
        }
        log = self.tables["home_log"]
        chosen = log.known(at)
        if by is not None:
            here = self._followed(frames["lines"], by)
            kept = np.zeros(len(chosen), dtype=np.bool_)
            # An entry may name the family that its line had before, so its line counts as well.
            for name in ("family_id", "line_id"):
                kept |= self.named_in_log(name, here[name])[chosen]
            chosen = chosen[kept]
        frames["home_log"] = log.frame.take(chosen)
        lines = self.tables["lines"]
        frames["earlier_lines"] = lines.frame.take(lines.earlier(at))
        acts = {"calls": self.calls, "arrangements": self.arrangements}
        known: dict[str, Any] = {n: v.frame.take(v.known(at)) for n, v in acts.items()}
        return Records(**frames, **known)

    def named_in_log(self, name: str, codes: Iterable[str]) -> npt.NDArray[np.bool_]:
        """Which versions of entries name one of these families or lines; `name` is the column."""
        number, every = self._log_codes[name]
        return np.append(every.isin(list(codes)), False)[number]

    @cached_property
    def _log_codes(self) -> dict[str, tuple[Ints, pd.Index[Any]]]:
        """Family and line of each version of an entry, as numbers, and their codes."""
        found = {}
        for name in ("family_id", "line_id"):
            code, known = pd.factorize(self.tables["home_log"].frame[name])
            found[name] = (code.astype(np.int64), pd.Index(known))
        return found

    @staticmethod
    def _followed(lines: pd.DataFrame, by: date) -> pd.DataFrame:
        """The lines in place and come home on the day."""
        now = pd.Timestamp(by)
        gone = (lines["removed_on"] <= now) | (lines["left_on"] <= now)
        here = ~gone & (lines["home_from"] <= now)
        return lines[here.to_numpy(dtype=bool)]


def microseconds(moment: datetime) -> int:
    """A moment with its time zone in microseconds since 1970, UTC."""
    return (moment - _EPOCH) // timedelta(microseconds=1)


def morning_of(day: date, policy: Policy) -> datetime:
    """Last microsecond before a day begins in the programme's zone, in UTC.

    A morning's list is made of what was received by then, so that nothing reported on the day
    itself can have known of an event on it.

    Examples
    --------
    >>> from analysis.policy import shipped_policy
    >>> morning_of(date(2031, 3, 1), shipped_policy()).isoformat()
    '2031-02-28T23:59:59.999999+00:00'
    """
    midnight = datetime.combine(day, time(), tzinfo=policy.zone)
    return midnight.astimezone(UTC) - timedelta(microseconds=1)
