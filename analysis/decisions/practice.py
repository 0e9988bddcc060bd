"""Change by change: was a step done well, by which caregiver, and which row shows it?

One row is one occasion that shows it. Everything on retraining counts these rows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, cast

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import day_number, days_of
from analysis.decisions.day import holds_code, log_of
from analysis.decisions.nearest_days import NearestDays
from analysis.policy import Policy, Settings
from analysis.tables.codes import positions_of
from analysis.tables.records import Records
from analysis.tables.retraining import PRACTICE
from analysis.timeline import Timeline
from analysis.vocabulary import NOTHING_SEEN, EntryKind, FindingMark, SignOffOutcome, Skill, Task

EARLY_FAILURE = "early_failure"
"""A dressing put on at home that was reported loose, damp or soiled early."""
SKIN_AFTER_CHANGE = "skin_after_change"
"""A skin finding on one of the `SKIN_DAYS` days after a change at home."""
LATE_CHANGE = "late_change"
"""A scored dressing interval that was not on time."""
NO_SIGN_OFF = "no_sign_off"
"""A dressing change by a named caregiver without a current sign-off on its day."""

BY_LINE = (EARLY_FAILURE, SKIN_AFTER_CHANGE, LATE_CHANGE)
"""Steps that intervals show, line by line; entries show the others."""
WORDS = ("family_id", "caregiver_id", "step")
SKIN_DAYS = 3

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Occasions:
    """Every occasion, with the lines that tell where those of a family lie among all."""

    seen: pd.DataFrame
    """Columns of `PRACTICE`."""
    line: npt.NDArray[np.int32]
    """By occasion of a step in `BY_LINE`: position of its line; within a step, it ascends."""
    line_id: pd.Series[str]
    """Lines of the timeline, by position."""


def practice(timeline: Timeline, records: Records, policy: Policy) -> pd.DataFrame:
    """Return every occasion that shows whether a step was done well.

    - A step of the policy: every entry with a self-check (`steps_missed`); ``none`` means
      that every step was done, a blank means nothing and is no occasion.
    - `early_failure`: dressings put on at home that ended or outlasted the policy's
      `early_failure_share` of their interval; missed: reported before it. Of who put it on.
    - `skin_after_change`: changes at home whose 3 following days are over or brought a skin
      finding; the entry of the change itself looks at the dressing before. Of who changed.
    - `late_change`: scored intervals; missed: late. Of who did the change that ended it.
    - `no_sign_off`: dressing changes by a named caregiver; missed: the newest demonstration up
      to that day is not ``independent``, or older than `sign_off_valid_months`.

    Parameters
    ----------
    timeline : Timeline
        Gives the as-of day and the dressing intervals.
    records : Records
        The records it was made from.
    policy : Policy
        The edition in force on the as-of day decides.

    Returns
    -------
    DataFrame
        Columns of `PRACTICE`, by step, then by line or stored row; without entries no rows.

    *Source:* project definition, definitions §8.
    """
    return occasions(timeline, records, policy).seen


def occasions(timeline: Timeline, records: Records, policy: Policy) -> Occasions:
    """Return the same with their lines."""
    edition = policy.on(timeline.as_of)
    log = _Log.of(timeline, records)
    spans = timeline.intervals
    spans = spans[(spans["task"] == Task.DRESSING).to_numpy()]
    skin = holds_code(log.entries["findings"], edition.codes_marked(FindingMark.SKIN_EVENT))
    parts = [
        *_self_checks(log, list(edition.steps)),
        _early_failures(log, spans, edition.settings),
        _skin_after(log, timeline, spans, skin),
        _late_changes(log, spans),
        _changes_without_sign_off(log, records.sign_offs, edition.settings),
    ]
    return log.occasions(parts, timeline)


def with_sign_offs(
    before: Occasions, timeline: Timeline, records: Records, policy: Policy
) -> Occasions:
    """Return the occasions when only the sign-offs have changed since."""
    log = _Log.of(timeline, records)
    settings = policy.on(timeline.as_of).settings
    others = (before.seen["step"] != NO_SIGN_OFF).to_numpy(dtype=bool)
    changes = _changes_without_sign_off(log, records.sign_offs, settings)
    now = log.occasions([changes], timeline)
    seen = pd.concat(alike(before.seen[others], now.seen), ignore_index=True)
    return replace(now, seen=checked(seen), line=before.line)


@dataclass(frozen=True)
class _Part:
    """Occasions of one step; families and caregivers by position, -1: blank."""

    step: str
    family: Ints
    caregiver: Ints
    done_on: npt.NDArray[np.datetime64]
    row: Ints
    missed: npt.NDArray[np.bool_]
    line: Ints | None = None
    """Of a step in `BY_LINE`."""


@dataclass(frozen=True)
class _Log:
    """The home log up to the as-of day with its families and caregivers as numbers.

    There are millions of occasions and few codes: numbers are joined and counted without them.
    """

    entries: pd.DataFrame
    families: pd.Index[str]
    """Sorted, also those of lines without an entry."""
    caregivers: pd.Index[str]
    family: Ints
    """By entry: position in `families`."""
    caregiver: Ints
    of_line: Ints
    """By line of the timeline: position of its family."""

    @classmethod
    def of(cls, timeline: Timeline, records: Records) -> _Log:
        """Number the codes of the entries dated up to the as-of day."""
        log = log_of(timeline, records)
        log = log[(log["done_on"] <= pd.Timestamp(timeline.as_of)).to_numpy(dtype=bool)]
        family, families = pd.factorize(log["family_id"])
        caregiver, caregivers = pd.factorize(log["caregiver_id"], sort=True)
        line_family = timeline.lines["family_id"]
        every = pd.Index(families).union(pd.Index(line_family.unique()), sort=True)
        return cls(
            entries=log,
            families=every,
            caregivers=pd.Index(caregivers),
            family=np.append(every.get_indexer(pd.Index(families)), -1)[family],
            caregiver=np.asarray(caregiver, dtype=np.int64),
            of_line=np.asarray(every.get_indexer(pd.Index(line_family)), dtype=np.int64),
        )

    @cached_property
    def done_on(self) -> npt.NDArray[np.datetime64]:
        """By entry: its day."""
        return self.entries["done_on"].to_numpy()

    @cached_property
    def row(self) -> Ints:
        """By entry: its stored row."""
        return self.entries["row"].to_numpy(dtype=np.int64)

    def part(self, step: str, at: npt.NDArray[Any], missed: npt.NDArray[np.bool_]) -> _Part:
        """Occasions that entries show; `at` chooses them."""
        return _Part(
            step, self.family[at], self.caregiver[at], self.done_on[at], self.row[at], missed
        )

    def caregiver_of(self, row: Ints) -> Ints:
        """The caregiver of stored rows; -1: not recorded, or no entry."""
        at = row - self._first_row
        known = (at >= 0) & (at < len(self._by_row))
        return np.where(known, self._by_row[np.where(known, at, 0)], -1)

    @cached_property
    def _first_row(self) -> int:
        return int(self.row.min()) if len(self.row) else 0

    @cached_property
    def _by_row(self) -> Ints:
        """The caregiver of each stored row from the first on: rows are numbered without wide gaps."""
        by_row = np.full(int(self.row.max(initial=0)) - self._first_row + 1, -1, dtype=np.int64)
        by_row[self.row - self._first_row] = self.caregiver
        return by_row

    def occasions(self, parts: list[_Part], timeline: Timeline) -> Occasions:
        """The parts below one another."""
        steps = pd.Index(sorted(part.step for part in parts), dtype="object")
        step = np.repeat(
            steps.get_indexer(pd.Index([part.step for part in parts])),
            [len(part.row) for part in parts],
        )
        family, caregiver, done_on, missed, row = (
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("family", "caregiver", "done_on", "missed", "row")
        )
        lines = [part.line for part in parts if part.line is not None]
        line = np.concatenate([np.empty(0, dtype=np.int64), *lines]).astype(np.int32)
        seen = pd.DataFrame(
            {
                "family_id": _used(family, self.families),
                "caregiver_id": _used(caregiver, self.caregivers),
                "step": _used(step, steps),
                "done_on": done_on.astype("datetime64[s]"),
                "missed": missed,
                "row": row,
            }
        )
        return Occasions(PRACTICE.check(seen), line, timeline.lines["line_id"])


def alike(some: pd.DataFrame, others: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Occasions whose columns of words have the words of both."""
    for name in WORDS:
        known = some[name].cat.categories.union(others[name].cat.categories, sort=True)
        if len(known) > len(some[name].cat.categories):
            some = some.assign(**{name: some[name].cat.set_categories(known)})
        others = others.assign(**{name: others[name].cat.set_categories(known)})
    return some, others


def checked(seen: pd.DataFrame) -> pd.DataFrame:
    """The occasions without words that none of them has."""
    words = {name: seen[name].cat for name in WORDS}
    used = {name: _used(of.codes.to_numpy(), of.categories) for name, of in words.items()}
    return PRACTICE.check(seen.assign(**used))


def _used(positions: npt.NDArray[Any], texts: pd.Index[Any]) -> pd.Categorical:
    """A column of few texts in many rows, without texts that no row has."""
    is_used = np.zeros(len(texts) + 1, dtype=bool)
    is_used[positions] = True
    is_used = is_used[:-1]  # the last stands for a blank
    if is_used.all():
        return coded(positions, texts)
    place = np.append(np.cumsum(is_used) - 1, -1)
    return coded(place[positions], texts[is_used])


def coded(positions: Ints, texts: pd.Index[Any]) -> pd.Categorical:
    """A column of few texts in many rows, by the position of each text; -1: blank."""
    return pd.Categorical.from_codes(cast("Any", positions), categories=texts)


def _self_checks(log: _Log, known_steps: list[str]) -> list[_Part]:
    which, texts = pd.factorize(log.entries["steps_missed"])
    at = np.flatnonzero(which >= 0)
    of_text = [frozenset(str(text).split(";")) for text in texts]
    codes = {code for held in of_text for code in held}
    steps = [*known_steps, *sorted(codes - {NOTHING_SEEN, *known_steps})]
    holds = {step: np.array([step in held for held in of_text], dtype=bool) for step in steps}
    return [log.part(step, at, holds[step][which[at]]) for step in steps] if len(at) else []


def _early_failures(log: _Log, spans: pd.DataFrame, settings: Settings) -> _Part:
    at_home = spans["by_home"].to_numpy(dtype=bool) & (spans["row"] >= 0).to_numpy()
    own = spans[at_home & spans["interval_days"].notna().to_numpy()]
    long_enough = settings.early_failure_share * own["interval_days"].astype("float64").to_numpy()
    worn = (own["reported_on"] - own["start_on"]).dt.days.to_numpy(dtype=np.float64)
    failed = worn < long_enough  # a blank report is nan, and never less
    lasted = (own["end_on"] - own["start_on"]).dt.days.to_numpy() >= long_enough
    known = failed | lasted | (own["ended_by"] != "as_of").to_numpy()
    own, failed = own[known], failed[known]
    row = own["row"].to_numpy(dtype=np.int64)
    return _Part(
        EARLY_FAILURE,
        family=log.of_line[own["line"].to_numpy()],
        caregiver=log.caregiver_of(row),
        done_on=own["start_on"].to_numpy(),
        row=np.where(failed, own["report_row"].to_numpy(dtype=np.int64), row),
        missed=failed,
        line=own["line"].to_numpy(dtype=np.int64),
    )


def _skin_after(
    log: _Log, timeline: Timeline, spans: pd.DataFrame, is_skin: npt.NDArray[np.bool_]
) -> _Part:
    own = spans[spans["by_home"].to_numpy(dtype=bool) & (spans["row"] >= 0).to_numpy()]
    start, line = days_of(own["start_on"]), own["line"].to_numpy(dtype=np.int64)
    skin = log.entries[is_skin]
    skin_row = skin["row"].to_numpy(dtype=np.int64)
    of_skin = positions_of(skin["line_id"], timeline.lines["line_id"])
    # Before: one row a change; after: the same with the first finding of a later day.
    found = NearestDays.of(of_skin, days_of(skin["done_on"]), skin_row)
    at = found.first_after(line, start, SKIN_DAYS)
    missed = at >= 0
    known = missed | (day_number(timeline.as_of) - start > SKIN_DAYS)
    row = own["row"].to_numpy(dtype=np.int64)
    shown_by = row.copy()
    shown_by[missed] = skin_row[at[missed]]
    return _Part(
        SKIN_AFTER_CHANGE,
        family=log.of_line[line[known]],
        caregiver=log.caregiver_of(row[known]),
        done_on=own["start_on"].to_numpy()[known],
        row=shown_by[known],
        missed=missed[known],
        line=line[known],
    )


def _late_changes(log: _Log, spans: pd.DataFrame) -> _Part:
    scored = spans[spans["scored"].to_numpy(dtype=bool)]
    changed_by = scored["end_row"].to_numpy(dtype=np.int64)
    # A late interval that no change ended is shown by the change that was to be followed.
    row = np.where(changed_by >= 0, changed_by, scored["row"].to_numpy(dtype=np.int64))
    at = row >= 0
    return _Part(
        LATE_CHANGE,
        family=log.of_line[scored["line"].to_numpy()[at]],
        caregiver=log.caregiver_of(changed_by[at]),
        done_on=scored["end_on"].to_numpy()[at],
        row=row[at],
        missed=~scored["on_time"].to_numpy(dtype=bool)[at],
        line=scored["line"].to_numpy(dtype=np.int64)[at],
    )


def _changes_without_sign_off(log: _Log, sign_offs: pd.DataFrame, settings: Settings) -> _Part:
    is_change = (log.entries["kind"] == EntryKind.DRESSING_CHANGE).to_numpy(dtype=bool)
    at = np.flatnonzero(is_change & (log.caregiver >= 0))
    changes = demonstrated(log.entries[["caregiver_id", "done_on"]].iloc[at], sign_offs)
    return log.part(NO_SIGN_OFF, at, ~is_current(changes, changes["done_on"], settings))


def demonstrated(
    changes: pd.DataFrame, sign_offs: pd.DataFrame, skill: Skill = Skill.DRESSING_CHANGE
) -> pd.DataFrame:
    """Add to each change its caregiver's newest demonstration of the skill.

    Returns
    -------
    DataFrame
        One row a change: its columns, `signed_on` and `outcome` (blank: none by then).
    """
    shown = sign_offs[(sign_offs["skill"] == skill).to_numpy(dtype=bool)]
    people = shown["caregiver_id"].drop_duplicates()
    newest = NearestDays.of(
        positions_of(shown["caregiver_id"], people),
        days_of(shown["signed_on"]),
        shown["row"].to_numpy(dtype=np.int64),
    )
    at = newest.newest_by(
        positions_of(changes["caregiver_id"], people), days_of(changes["done_on"])
    )
    found = {name: shown[name].array.take(at, allow_fill=True) for name in ("signed_on", "outcome")}
    return changes.assign(**found)


def is_current(
    shown: pd.DataFrame, days: pd.Series[Any], settings: Settings
) -> npt.NDArray[np.bool_]:
    """Whether each demonstration (`signed_on`, `outcome`) is a sign-off in force on its day."""
    valid_from = pd.to_datetime(days) - pd.DateOffset(months=settings.sign_off_valid_months)
    alone = (shown["outcome"] == SignOffOutcome.INDEPENDENT).to_numpy(dtype=bool)
    recent = days_of(shown["signed_on"]) >= days_of(valid_from)
    return np.asarray(alone & recent, dtype=bool)
