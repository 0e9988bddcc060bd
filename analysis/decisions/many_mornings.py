"""Which families were to be called on each of many mornings, found for all of them in one go?

A family on one morning is a family of its own here: its codes begin with the number of the
morning, and its dates are moved so that every morning falls on the last one. So the timeline and
the reasons to call are those of `timeline.build` and `reasons`, found once for many mornings
instead of once for each, and only on those of `turning_mornings`: on others a family's list is that
of the morning before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from itertools import groupby
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
from analysis.decisions.recent_entries import NEEDED_BEFORE, UNREAD, Recent, recent, too_few
from analysis.decisions.turning_mornings import (
    GROUP,
    Groups,
    care_of,
    care_turns,
    due_turns,
    grouped,
    other_reasons,
    resting_turns,
    without_old_changes,
)
from analysis.policy import Policy
from analysis.tables.codes import is_among, positions_of
from analysis.tables.planning import TO_CALL
from analysis.tables.records import Records
from analysis.timeline import build
from analysis.vocabulary import Reason, Task

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

STEPS = 3
"""Of which progress is shown, for the mornings of each edition."""
CARE = (
    Reason.COMPROMISED,
    Reason.OVERDUE,
    Reason.STATE_UNKNOWN,
    Reason.EARLY_FAILURES,
    Reason.LATE_PATTERN,
)
"""Reasons that are about a dressing."""
OTHERS = tuple(reason for reason in FINDERS if reason not in CARE)

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


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
    read = log.frame.drop(columns=[*UNREAD], errors="ignore")
    read = read.astype({"findings": "category"}, copy=False)
    history = replace(history, tables={**history.tables, "home_log": replace(log, frame=read)})
    alike = _alike(policy, days)
    found: list[pd.DataFrame] = []
    with (counting or _unseen)(STEPS * len(alike)) as done:
        for mornings in alike:
            found.extend(_of_edition(history, policy, mornings, done))
    if not found:
        return TO_CALL.empty()
    frame = pd.concat(found, ignore_index=True)
    return TO_CALL.check(frame.sort_values(["morning", "family_id"], ignore_index=True))


def _of_edition(
    history: History, policy: Policy, mornings: list[date], done: Callable[[], None]
) -> Iterator[pd.DataFrame]:
    """The rows of `TO_CALL` of mornings of one edition, in one or two parts."""
    moments = [microseconds(morning_of(day, policy)) for day in mornings]
    numbers, settings = [day_number(day) for day in mornings], policy.on(mornings[0]).settings
    kept = recent(history, moments, numbers, settings)
    every, groups = grouped(kept.history, moments, numbers)
    cared = care_of(every)
    listed = Listed.of(groups, kept)
    turns = care_turns(cared, groups) & followed(every.tables["lines"], groups)
    due = groups.none()
    for some in groups.shares(cared, turns):
        due |= listed.add_care(SideBySide.of(cared, policy, mornings, CARE, some), some)
    done()
    for some in groups.shares(cared, due & ~turns):
        listed.add_care(SideBySide.of(cared, policy, mornings, CARE, some), some)
    done()
    others = other_reasons(every, groups, policy, settings)
    unsure, with_care = listed.unsure(others, resting_turns(every, groups, settings.recheck_days))
    for some in groups.shares(every, with_care):
        listed.add_whole(SideBySide.of(every, policy, mornings, [*FINDERS], some))
    few = without_old_changes(every, groups, settings)
    for some in groups.shares(few, unsure):
        listed.add_whole(SideBySide.of(few, policy, mornings, OTHERS, some))
    done()
    needed = pd.Index(sorted(listed.needing_all))
    frame = listed.frame(mornings)
    yield frame[~is_among(frame["family_id"], needed)]
    if len(needed):
        whole = SideBySide.of(history_of(history, needed), policy, mornings, [*FINDERS])
        frame = whole.frame()
        yield frame[is_among(frame["family_id"], needed)]


@contextmanager
def _unseen(_: int) -> Iterator[Callable[[], None]]:
    yield lambda: None


def _alike(policy: Policy, days: Sequence[date]) -> list[list[date]]:
    """Mornings that may be moved onto each other: those of one edition."""
    return [list(some) for _, some in groupby(days, lambda day: policy.on(day).effective_from)]


@dataclass(frozen=True)
class SideBySide:
    """What is needed of the lists of several mornings."""

    mornings: list[date]
    spread: Spread
    day: Day
    found: dict[Reason, pd.DataFrame]
    """Rows with the code of a family for each reason; codes as in `Spread`."""
    evidence: pd.DataFrame
    """The rows that show what `BREAKS_WAITING` names."""

    @classmethod
    def of(
        cls,
        history: History,
        policy: Policy,
        mornings: list[date],
        reasons: Sequence[Reason],
        pairs: Flags | None = None,
    ) -> SideBySide:
        """Find reasons on all mornings in one go; `pairs`: of which groups on which mornings."""
        spread = Spread(history, policy, mornings, pairs)
        records = spread.records()
        in_utc = replace(policy, time_zone="UTC")
        line_ids = records.lines["line_id"]
        moved = pd.Series(spread.ahead[nth_of(line_ids)], index=line_ids)
        timeline = build(records, in_utc, mornings[-1], moved)
        day = Day(timeline, records, policy.on(mornings[-1]))
        found: dict[Reason, Found] = {
            reason: FINDERS[reason](day) for reason in reasons if reason is not Reason.NO_SIGN_OFF
        }
        proof = [
            found[reason].evidence.assign(reason=str(reason))
            for reason in BREAKS_WAITING
            if reason in found
        ]
        rows = {reason: some.reasons for reason, some in found.items()}
        if Reason.NO_SIGN_OFF in reasons:
            settings = day.edition.settings
            changes = day.entries(settings.sign_off_recent_days)
            # A sign-off is in force for some months, which are not all alike: by the days written.
            changes = changes.assign(done_on=changes[WRITTEN_ON])
            rows[Reason.NO_SIGN_OFF] = changes_without_sign_off(
                changes, records.sign_offs, settings
            )
        return cls(mornings, spread, day, rows, pd.concat(proof))

    def with_reason(self) -> pd.Series[str]:
        """Families with one of the reasons."""
        return pd.concat([rows["family_id"] for rows in self.found.values()]).drop_duplicates()

    def listed(self) -> pd.Series[str]:
        """Families with a reason that are neither waiting nor postponed."""
        flags = self.found[Reason.RED_FLAG].assign(reason=str(Reason.RED_FLAG))
        rest = resting(self.day, flags, self.evidence)["family_id"]
        families = self.with_reason()
        return families[~is_among(families, rest)]

    def needing_all(self, first_change: pd.Series[int]) -> set[str]:
        """The families of lines that `recent` left too few entries."""
        lines = self.day.timeline.lines
        spans = self.day.dressing_intervals
        nth = nth_of(lines["line_id"])
        first = first_change.reindex(without_nth(lines["line_id"]))
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
        return set(without_nth(lines.loc[short, "family_id"]))

    def at_home(self) -> pd.DataFrame:
        """One row a family with a line at home: `family_id` as in `Spread`, `site`."""
        return self.day.lines.groupby("family", sort=False).agg(
            {"family_id": "first", "site": "first"}
        )

    def frame(self) -> pd.DataFrame:
        """The rows of `TO_CALL`, where all reasons were looked for."""
        home = self.at_home()
        return pd.DataFrame(
            {
                "morning": np.array(self.mornings, dtype="datetime64[s]")[
                    nth_of(home["family_id"])
                ],
                "family_id": without_nth(home["family_id"]),
                "site": home["site"].array,
                "to_call": is_among(home["family_id"], self.listed()),
            }
        )


@dataclass(frozen=True)
class Listed:
    """By family and morning, what was found on the mornings that were replayed."""

    groups: Groups
    first_change: pd.Series[int]
    """As in `Recent`."""
    sites: pd.Series[Any]
    replayed: Flags
    site: Ints
    """Place in `sites` of the first line at home; -1: none is."""
    called: Flags
    needing_all: set[str]

    @classmethod
    def of(cls, groups: Groups, kept: Recent) -> Listed:
        """Begin with no morning."""
        shape = len(groups.families), len(groups.mornings)
        return cls(
            groups,
            kept.first_change,
            kept.history.tables["lines"].frame["site"].drop_duplicates(),
            np.zeros(shape, dtype=np.bool_),
            np.full(shape, -1, dtype=np.int64),
            np.zeros(shape, dtype=np.bool_),
            set(),
        )

    def _place(self, codes: pd.Series[Any]) -> tuple[Ints, Ints]:
        return positions_of(without_nth(codes), self.groups.families), nth_of(codes)

    def add_care(self, few: SideBySide, pairs: Flags) -> Flags:
        """Add reasons about dressings; returns the later mornings on which one may begin."""
        replayed = pairs[self.groups.of_family]
        self.replayed[replayed] = True
        home = few.at_home()
        at = self._place(home["family_id"])
        self.site[at] = positions_of(home["site"], self.sites)
        self.called[self._place(few.with_reason())] = True
        self.needing_all.update(few.needing_all(self.first_change))
        family, nth = self._place(few.day.care(Task.DRESSING)["family_id"])
        of_group = self.groups.of_family[family]
        return due_turns(few.day, of_group, nth, few.spread.ahead, self.groups)

    def unsure(self, others: Flags, rest: Flags) -> tuple[Flags, Flags]:
        """On which mornings a family may have another reason or may rest; other mornings are filled.

        First those on which it has no reason about a dressing, then those on which it may have one.
        """
        nth = np.arange(len(self.groups.mornings))
        last = np.maximum.accumulate(np.where(self.replayed, nth, -1), axis=1)
        self.site[:] = np.where(last < 0, -1, np.take_along_axis(self.site, last, axis=1))
        self.called[:] = (last >= 0) & np.take_along_axis(self.called, last, axis=1)
        of_family, home = self.groups.of_family, self.site >= 0
        linked = self.groups.linked[:, np.newaxis]
        without, whole = self.groups.none(), self.groups.none()
        without[of_family] = others[of_family] & home & ~self.called & ~linked
        np.logical_or.at(whole, of_family, home & (linked | self.called & rest[of_family]))
        return without, whole

    def add_whole(self, whole: SideBySide) -> None:
        """Take over what all reasons of families give, and who rests."""
        self.called[self._place(whole.at_home()["family_id"])] = False
        self.called[self._place(whole.listed())] = True

    def frame(self, mornings: list[date]) -> pd.DataFrame:
        """The rows of `TO_CALL`."""
        family, nth = np.nonzero(self.site >= 0)
        return pd.DataFrame(
            {
                "morning": np.array(mornings, dtype="datetime64[s]")[nth],
                "family_id": self.groups.families.array.take(family),
                "site": self.sites.array.take(self.site[family, nth]),
                "to_call": self.called[family, nth],
            }
        )


@dataclass(frozen=True)
class Spread:
    """What was known on each of several mornings, as records of as many families side by side."""

    history: History
    policy: Policy
    mornings: Sequence[date]
    pairs: Flags | None
    """Which groups are wanted on which mornings; None: all rows on each."""

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
            earlier_lines=self._frame(lines, self._earlier(lines)),
            sign_offs=self._frame(tables["sign_offs"], dates=()),
            home_log=self._frame(log),
            calls=self._frame(self.history.calls),
            arrangements=self._frame(self.history.arrangements),
        )

    def _in_zone(self, lines: pd.DataFrame) -> pd.DataFrame:
        """Lines with the moment of receipt by the programme's clock, whose day is moved whole."""
        local = lines["received_at"].dt.tz_localize("UTC").dt.tz_convert(self.policy.zone)
        return lines.assign(received_at=local.dt.tz_localize(None))

    @cached_property
    def _moments(self) -> Ints:
        return np.array([microseconds(morning_of(day, self.policy)) for day in self.mornings])

    def _wanted(self, versions: Versions) -> tuple[Flags, Ints]:
        """Which groups are wanted on which mornings, and the group of each row of a table."""
        if self.pairs is None:
            everything = np.ones((1, len(self.mornings)), dtype=np.bool_)
            return everything, np.zeros(len(versions.key), dtype=np.int64)
        return self.pairs, versions.frame[GROUP].to_numpy()

    def _known(self, versions: Versions) -> tuple[Ints, Ints]:
        """What is known and wanted, morning by morning: place of the morning, position of the row."""
        pairs, group = self._wanted(versions)
        first, stop = versions.in_force(self._moments)
        if NEEDED_BEFORE in versions.frame:
            stop = np.minimum(stop, versions.frame[NEEDED_BEFORE].to_numpy())
        ever = np.asarray(pairs.any(axis=1), dtype=np.bool_)
        at = np.flatnonzero((first < stop) & ever[group])
        each = np.arange(len(self.mornings))[:, np.newaxis]
        on = (first[at] <= each) & (each < stop[at]) & pairs.T[:, group[at]]
        nth, place = np.nonzero(on)
        return nth, at[place]

    def _earlier(self, versions: Versions) -> tuple[Ints, Ints]:
        """Likewise, what was known before and was replaced by then."""
        parts = [versions.earlier(moment) for moment in self._moments]
        nth = np.repeat(np.arange(len(parts)), [len(part) for part in parts])
        at = np.concatenate(parts)
        pairs, group = self._wanted(versions)
        wanted = pairs[group[at], nth]
        return nth[wanted], at[wanted]

    def _frame(
        self,
        versions: Versions,
        rows: tuple[Ints, Ints] | None = None,
        dates: Sequence[str] = DATES,
    ) -> pd.DataFrame:
        """One below the other what was known of a table on each morning."""
        nth, at = self._known(versions) if rows is None else rows
        frame = versions.frame.drop(columns=[GROUP, NEEDED_BEFORE], errors="ignore")
        frame = frame.take(at).reset_index(drop=True)
        moved: dict[str, Any] = {"row": frame["row"] + nth * ROWS}
        ahead = self.ahead[nth].astype("timedelta64[D]").astype("timedelta64[s]")
        for name in (*dates, *MOMENTS):
            if name in frame:
                moved[name] = frame[name] + ahead
        number = pa.array([f"{n:0{DIGITS}d}" for n in range(len(self.mornings))])
        number = number.take(pa.array(nth))
        for name in CODES:
            if name in frame:
                codes = pc.binary_join_element_wise(number, _strings(frame[name]), "")
                moved[name] = pd.array(codes, dtype="string[pyarrow]")
        return frame.assign(**moved)


def nth_of(codes: pd.Series[Any]) -> Ints:
    """Of which morning each code is, as its place among the mornings."""
    return pc.utf8_slice_codeunits(_strings(codes), 0, DIGITS).cast(pa.int64()).to_numpy()


def without_nth(codes: pd.Series[Any]) -> pd.Series[str]:
    """Codes as they were written."""
    own = pc.utf8_slice_codeunits(_strings(codes), DIGITS)
    return pd.Series(pd.array(own, dtype="string[pyarrow]"))


def _strings(texts: pd.Series[Any]) -> pa.Array:
    return pa.array(texts.array, type=pa.string(), from_pandas=True)
