"""Which families were to be called on each of many mornings, found for all of them in one go?

A family on one morning is a family of its own here: its codes begin with the number of the
morning, and its dates are moved so that every morning falls on the last one. So the timeline and
the reasons to call are those of `timeline.build` and `reasons`, found once for many mornings
instead of once for each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.days import day_number, days_of
from analysis.decisions.calls import BREAKS_WAITING, resting
from analysis.decisions.day import Day
from analysis.decisions.followed import followed, history_of
from analysis.decisions.history import History, Versions, microseconds, morning_of
from analysis.decisions.reasons import FINDERS, Found, changes_without_sign_off
from analysis.decisions.recent_entries import UNREAD, Recent, needed_on, recent, too_few
from analysis.policy import Policy
from analysis.tables.codes import is_among
from analysis.tables.planning import TO_CALL
from analysis.tables.records import Records
from analysis.timeline import build
from analysis.vocabulary import Reason

CODES = ("line_id", "family_id", "child_id", "caregiver_id")
DATES = (
    *("placed_on", "home_from", "removed_on", "left_on", "dressing_on", "valid_from", "from_on"),
    *("to_on", "done_on", "called_on", "recheck_on", "made_on", "until_on"),
)
MOMENTS = ("received_at", "done_at", "called_at", "made_at")
WRITTEN_ON = "written_on"
"""Column of the log with the day that was written down; `done_on` is moved."""
DIGITS = 4
ROWS = 1 << 44
"""More than there are stored rows: the row of an entry on morning n is its own and n times this."""

Ints = npt.NDArray[np.int64]


def to_call(
    history: History,
    policy: Policy,
    days: Sequence[date],
    counting: Callable[[int], AbstractContextManager[Callable[[], None]]] | None = None,
) -> pd.DataFrame:
    """Find on each morning the families to call, by what was known before it began.

    Parameters
    ----------
    history : History
        Every version of every row.
    policy : Policy
        The edition in force on a morning decides.
    days : sequence of date
        The mornings, oldest first.
    counting : callable, optional
        Shows progress: takes the number of parts and returns what is called once for each.

    Returns
    -------
    DataFrame
        Columns of `TO_CALL`, one row a morning and family with a line at home; `to_call` are
        the families that have a rank in `calls.call_list` of that morning.
    """
    log = history.tables["home_log"]
    read = log.frame.drop(columns=[*UNREAD], errors="ignore").astype({"findings": "category"})
    tables = {**history.tables, "home_log": replace(log, frame=read)}
    history = replace(history, tables=tables)
    alike = [(some, _recent(history, policy, some)) for some in _alike(policy, days)]
    shares = [
        (mornings, kept, families)
        for mornings, kept in alike
        for families in followed(kept.history, _moments(policy, mornings), mornings)
    ]
    found: list[pd.DataFrame] = []
    wanting: list[tuple[list[date], pd.Index[str]]] = []
    with (counting or _unseen)(len(shares)) as done:
        for mornings, kept, families in shares:
            few = SideBySide.of(history_of(kept.history, families), policy, mornings)
            needed = few.needing_all(kept.first_change)
            found.append(few.frame(families.difference(needed)))
            wanting.append((mornings, needed))
            done()
    for mornings, families in _together(wanting):
        every = SideBySide.of(history_of(history, families), policy, mornings)
        found.append(every.frame(families))
    if not found:
        return TO_CALL.empty()
    frame = pd.concat(found, ignore_index=True)
    return TO_CALL.check(frame.sort_values(["morning", "family_id"], ignore_index=True))


@contextmanager
def _unseen(_: int) -> Iterator[Callable[[], None]]:
    yield lambda: None


def _alike(policy: Policy, days: Sequence[date]) -> list[list[date]]:
    """Mornings that may be moved onto each other: those of one edition."""
    return [list(some) for _, some in groupby(days, lambda day: policy.on(day).effective_from)]


def _moments(policy: Policy, mornings: Sequence[date]) -> list[int]:
    """What was received by then is known on each morning: microseconds UTC."""
    return [microseconds(morning_of(day, policy)) for day in mornings]


def _recent(history: History, policy: Policy, mornings: list[date]) -> Recent:
    settings, days = policy.on(mornings[0]).settings, [day_number(day) for day in mornings]
    return recent(history, _moments(policy, mornings), days, settings)


def _together(
    wanting: list[tuple[list[date], pd.Index[str]]],
) -> Iterator[tuple[list[date], pd.Index[str]]]:
    """Families of the same mornings as one index; mornings without any are left out."""
    for mornings, some in groupby(wanting, itemgetter(0)):
        families = pd.Index(np.concatenate([index.to_numpy(dtype=object) for _, index in some]))
        if len(families):
            yield mornings, families


@dataclass(frozen=True)
class SideBySide:
    """What is needed of the lists of several mornings."""

    mornings: list[date]
    spread: Spread
    day: Day
    listed: pd.Series[str]
    """Families with a reason that are neither waiting nor postponed; codes as in `Spread`."""

    @classmethod
    def of(cls, history: History, policy: Policy, mornings: list[date]) -> SideBySide:
        """Find the reasons of all mornings in one go."""
        spread = Spread(history, policy, mornings)
        records = spread.records()
        in_utc = replace(policy, time_zone="UTC")
        line_ids = records.lines["line_id"]
        moved = pd.Series(spread.ahead[nth_of(line_ids)], index=line_ids)
        timeline = build(records, in_utc, mornings[-1], moved)
        day = Day(timeline, records, policy.on(mornings[-1]))
        found: dict[Reason, Found] = {
            r: find(day) for r, find in FINDERS.items() if r is not Reason.NO_SIGN_OFF
        }
        settings = day.edition.settings
        changes = day.entries(settings.sign_off_recent_days)
        # A sign-off is in force for some months, which are not all alike: by the days written.
        changes = changes.assign(done_on=changes[WRITTEN_ON])
        changes = changes_without_sign_off(changes, records.sign_offs, settings)
        with_reason = [changes["family_id"], *(f.reasons["family_id"] for f in found.values())]
        flags = found[Reason.RED_FLAG].reasons.assign(reason=str(Reason.RED_FLAG))
        proof = [found[reason].evidence.assign(reason=str(reason)) for reason in BREAKS_WAITING]
        rest = resting(day, flags, pd.concat(proof))["family_id"]
        listed = pd.concat(with_reason).drop_duplicates()
        return cls(mornings, spread, day, listed[~is_among(listed, rest)])

    def needing_all(self, first_change: pd.Series[int]) -> pd.Index[str]:
        """The families of lines that `recent` left too few entries."""
        lines = self.day.timeline.lines
        spans = self.day.dressing_intervals
        nth = nth_of(lines["line_id"])
        first = first_change.reindex(_without_nth(lines["line_id"]))
        changes = pd.DataFrame(
            {
                "line": spans["line"],
                "day": days_of(spans["start_on"]) - self.spread.ahead[nth[spans["line"]]],
                "scored": spans["scored"],
                "by_home": spans["by_home"],
            }
        )
        short = too_few(
            changes,
            np.asarray(first.fillna(np.iinfo(np.int64).min), dtype=np.int64),
            self.day.edition.settings,
            lines["at_home"].to_numpy(dtype=bool),
        )
        return pd.Index(_without_nth(lines.loc[short, "family_id"]).unique())

    def frame(self, families: pd.Index[str]) -> pd.DataFrame:
        """The rows of `TO_CALL` of some families."""
        of_family = self.day.lines.groupby("family", sort=False)
        home = of_family.agg({"family_id": "first", "site": "first"})
        own = _without_nth(home["family_id"])
        frame = pd.DataFrame(
            {
                "morning": np.array(self.mornings, dtype="datetime64[s]")[
                    nth_of(home["family_id"])
                ],
                "family_id": own,
                "site": home["site"].array,
                "to_call": is_among(home["family_id"], self.listed),
            }
        )
        return frame[is_among(own, families)]


@dataclass(frozen=True)
class Spread:
    """What was known on each of several mornings, as records of as many families side by side."""

    history: History
    policy: Policy
    mornings: Sequence[date]

    @property
    def ahead(self) -> Ints:
        """By morning: days by which its dates are later than they were written."""
        return np.array([(self.mornings[-1] - day).days for day in self.mornings], dtype=np.int64)

    def records(self) -> Records:
        """Records with the codes and dates of each morning; sign-offs keep their dates."""
        tables = self.history.tables
        log = tables["home_log"]
        log = replace(log, frame=log.frame.assign(**{WRITTEN_ON: log.frame["done_on"]}))
        lines = replace(tables["lines"], frame=self._in_zone(tables["lines"].frame))
        return Records(
            stays=self._frame(tables["stays"]),
            caregivers=self._frame(tables["caregivers"]),
            outcomes=self._frame(tables["outcomes"]),
            lines=self._frame(lines),
            earlier_lines=self._frame(lines, Versions.earlier),
            sign_offs=self._frame(tables["sign_offs"], dates=()),
            home_log=self._frame(log),
            calls=self._frame(self.history.calls),
            arrangements=self._frame(self.history.arrangements),
        )

    def _in_zone(self, lines: pd.DataFrame) -> pd.DataFrame:
        """Lines with the moment of receipt by the programme's clock, whose day is moved whole."""
        local = lines["received_at"].dt.tz_localize("UTC").dt.tz_convert(self.policy.zone)
        return lines.assign(received_at=local.dt.tz_localize(None))

    def _frame(
        self,
        versions: Versions,
        known: Callable[[Versions, int], Ints] = Versions.known,
        dates: Sequence[str] = DATES,
    ) -> pd.DataFrame:
        """One below the other what was known of a table on each morning."""
        parts = [
            needed_on(versions, known(versions, at), nth)
            for nth, at in enumerate(_moments(self.policy, self.mornings))
        ]
        nth = np.repeat(np.arange(len(parts), dtype=np.int64), [len(part) for part in parts])
        frame = versions.frame.take(np.concatenate(parts)).reset_index(drop=True)
        moved: dict[str, Any] = {"row": frame["row"] + nth * ROWS}
        ahead = self.ahead[nth].astype("timedelta64[D]").astype("timedelta64[s]")
        for name in (*dates, *MOMENTS):
            if name in frame:
                moved[name] = frame[name] + ahead
        number = pa.array([f"{n:0{DIGITS}d}" for n in range(len(parts))]).take(pa.array(nth))
        for name in CODES:
            if name in frame:
                codes = pc.binary_join_element_wise(number, _strings(frame[name]), "")
                moved[name] = pd.array(codes, dtype="string[pyarrow]")
        return frame.assign(**moved)


def nth_of(codes: pd.Series[Any]) -> Ints:
    """Of which morning each code is, as its place among the mornings."""
    return pc.utf8_slice_codeunits(_strings(codes), 0, DIGITS).cast(pa.int64()).to_numpy()


def _without_nth(codes: pd.Series[Any]) -> pd.Series[str]:
    own = pc.utf8_slice_codeunits(_strings(codes), DIGITS)
    return pd.Series(pd.array(own, dtype="string[pyarrow]"))


def _strings(texts: pd.Series[Any]) -> pa.Array:
    return pa.array(texts.array, type=pa.string(), from_pandas=True)
