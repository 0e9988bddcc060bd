"""On which mornings can the reasons to call a family begin or end, so that it has to be replayed?

Between them the family's list is that of the morning before. What is known of a dressing changes when
an entry, a stay or a line is received, or when its day comes (`care_turns`), and a dressing in place
becomes overdue by the calendar alone (`due_turns`). All other reasons are rare: they are found only
on mornings on which they cannot be ruled out by a quick look (`other_reasons`).

A row belongs to one family by its line, child or code. Families whose rows name another family as
well are few; they are replayed together on every morning.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, date_at, days_of
from analysis.decisions.attempts import with_days_back
from analysis.decisions.day import Day, holds_code
from analysis.decisions.history import History, Versions
from analysis.decisions.reasons import changes_without_sign_off
from analysis.decisions.recent_entries import (
    NEEDED_BEFORE,
    about_dressings,
    looks_back,
    of_one_version,
)
from analysis.policy import Policy
from analysis.tables.codes import is_among, positions_of
from analysis.timeline.axis import DAY_BITS
from analysis.vocabulary import (
    DressingType,
    EntryKind,
    FindingMark,
    LineType,
    SignOffOutcome,
    Task,
)

GROUP = "group"
"""Column of every table of a history: number of the family that a row is of; see `Groups`."""
MOST_ENTRIES = 400_000
"""Entries of the log, once for each morning, that are replayed at one time."""
_DATES = {
    "lines": ("placed_on", "home_from", "removed_on", "left_on", "dressing_on", "valid_from"),
    "stays": ("from_on", "to_on", "dressing_on"),
}
_OTHER_TASKS = {
    Task.CONNECTOR: (EntryKind.CONNECTOR_CHANGE,),
    Task.NEEDLE: (EntryKind.NEEDLE_CHANGE, EntryKind.PORT_ACCESSED),
    Task.FLUSH: (EntryKind.FLUSH,),
}
_LONG_AGO = np.iinfo(np.int64).min // 2

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Groups:
    """Families by number, and the mornings: the shape of all flags here is (n_rows, mornings)."""

    families: pd.Series[Any]
    """Codes; the number of a family is its place."""
    linked: Flags
    """By family: its rows name other families as well."""
    moments: Ints
    """By morning: microseconds UTC; what was received by then is known."""
    mornings: Ints
    """Days since 1970, oldest first."""

    @property
    def together(self) -> int:
        """Number under which the rows of all linked families are."""
        return len(self.families)

    @property
    def always(self) -> int:
        """Number of rows of several families that are not linked by them: demonstrations."""
        return len(self.families) + 1

    @property
    def n_rows(self) -> int:
        """Families, and the two numbers after them."""
        return len(self.families) + 2

    @property
    def of_family(self) -> Ints:
        """By family: the number under which its rows are."""
        return np.where(self.linked, self.together, np.arange(len(self.families)))

    def none(self) -> Flags:
        """Flags of which none is set."""
        return np.zeros((self.n_rows, len(self.mornings)), dtype=np.bool_)

    def known_from(self, versions: Versions) -> Ints:
        """By row, the place of the first morning that knows it."""
        return np.searchsorted(self.moments, versions.received).astype(np.int64)

    def reached(self, days: Ints) -> Ints:
        """The place of the first morning on or after each day; a blank is before every day."""
        return np.searchsorted(self.mornings, days).astype(np.int64)

    def between(self, group: Ints, first: Ints, stop: Ints) -> Flags:
        """Set the flags of each group on its mornings ``first … stop - 1``."""
        real = first < stop
        steps = np.zeros((self.n_rows, len(self.mornings) + 1), dtype=np.int64)
        np.add.at(steps, (group[real], first[real]), 1)
        np.add.at(steps, (group[real], stop[real]), -1)
        return np.asarray(np.cumsum(steps, axis=1)[:, :-1] > 0, dtype=np.bool_)

    def shares(self, history: History, pairs: Flags) -> Iterator[Flags]:
        """Cut families and mornings to replay into shares whose entries fit into memory."""
        size = np.bincount(history.tables["home_log"].frame[GROUP], minlength=self.n_rows)
        size = (size + 1) * pairs.sum(axis=1)
        size[self.always] = 0
        # Linked families come first, since a share holds all of them.
        before = np.cumsum(size) - size + size[self.together]
        before[self.together] = 0
        share = np.minimum(before // MOST_ENTRIES, before.max(initial=0))
        for nth in np.unique(share[pairs.any(axis=1)]):
            some = pairs & (share == nth)[:, np.newaxis]
            some[self.always] = some.any(axis=0)
            yield some


def grouped(
    history: History, moments: Sequence[int], mornings: Sequence[int]
) -> tuple[History, Groups]:
    """Number the families, and add the column `GROUP` to the tables.

    Parameters
    ----------
    history : History
        Of whole families.
    moments : sequence of int
        Microseconds UTC: what was received by then is known on the morning.
    mornings : sequence of int
        Days since 1970, oldest first.
    """
    lines, log = history.tables["lines"].frame, history.tables["home_log"].frame
    families = lines["family_id"].drop_duplicates().sort_values(ignore_index=True)
    by_row = positions_of(lines["family_id"], families)
    linked = np.zeros(len(families), dtype=np.bool_)
    owners = {}
    for name in ("line_id", "child_id"):
        codes = lines[name].drop_duplicates()
        number = positions_of(lines[name], codes)
        owner = np.zeros(len(codes), dtype=np.int64)
        owner[number] = by_row
        mixed = np.zeros(len(codes), dtype=np.bool_)
        mixed[number[owner[number] != by_row]] = True
        linked[by_row[mixed[number]]] = True
        owners[name] = codes, owner
    codes, owner = owners["line_id"]
    line, written = positions_of(log["line_id"], codes), positions_of(log["family_id"], families)
    of_entry = np.where(line >= 0, np.append(owner, -1)[line], written)
    linked[of_entry[(of_entry >= 0) & (of_entry != written)]] = True
    linked[written[(written >= 0) & (of_entry != written)]] = True

    groups = Groups(families, linked, np.asarray(moments), np.asarray(mornings))
    of_family = np.append(groups.of_family, groups.together)
    codes, owner = owners["child_id"]
    of_child = np.append(owner, -1)[positions_of(history.tables["stays"].frame["child_id"], codes)]
    sign_offs = history.tables["sign_offs"]
    by_caregiver = _of_caregivers(sign_offs.frame["caregiver_id"], log, of_family[of_entry], groups)
    tables = {
        name: _with(history.tables[name], of_family[number], number >= 0)
        for name, number in (("lines", by_row), ("home_log", of_entry), ("stays", of_child))
    }
    tables["sign_offs"] = _with(sign_offs, by_caregiver, by_caregiver >= 0)
    for name in ("caregivers", "outcomes"):  # no reason to call is found in them
        tables[name] = _nothing_of(history.tables[name])
    acts = []
    for made in (history.calls, history.arrangements):
        number = positions_of(made.frame["family_id"], families)
        acts.append(_with(made, of_family[number], number >= 0))
    return History(tables, *acts), groups


def _with(versions: Versions, group: Ints, known: Flags) -> Versions:
    grouped = replace(versions, frame=versions.frame.assign(**{GROUP: group}))
    return grouped if known.all() else grouped.only(known)


def _nothing_of(versions: Versions) -> Versions:
    none = versions.only(np.zeros(len(versions.key), dtype=np.bool_))
    return replace(none, frame=none.frame.assign(**{GROUP: np.zeros(0, dtype=np.int64)}))


def _of_caregivers(
    codes: pd.Series[Any], log: pd.DataFrame, of_entry: Ints, groups: Groups
) -> Ints:
    """By caregiver, the group in which the person wrote: `always` for several, -1 for none."""
    people = codes.drop_duplicates()
    who = positions_of(log["caregiver_id"], people)
    first, last = np.full(len(people), groups.n_rows), np.full(len(people), -1)
    np.minimum.at(first, who[who >= 0], of_entry[who >= 0])
    np.maximum.at(last, who[who >= 0], of_entry[who >= 0])
    found = np.where((first == last) | (last < 0), last, groups.always)
    return found[positions_of(codes, people)]


def care_of(history: History) -> History:
    """Leave of the log only entries about dressings, and nothing that other reasons need."""
    log = history.tables["home_log"]
    about = log.only(about_dressings(log.frame))
    read = about.frame.drop(columns=["received_at", "caregiver_id", "kits_left"])
    tables = {
        **history.tables,
        "home_log": replace(about, frame=read),
        "sign_offs": _nothing_of(history.tables["sign_offs"]),
    }
    return History(tables, _nothing_of(history.calls), _nothing_of(history.arrangements))


def without_old_changes(history: History, groups: Groups, settings: Any) -> History:
    """Leave out changes of dressings that only reasons about a dressing need."""
    log = history.tables["home_log"]
    frame, day = log.frame, days_of(log.frame["done_on"])
    since = groups.mornings[0] - looks_back(settings, history.tables["lines"].frame)
    old = (frame["kind"] == EntryKind.DRESSING_CHANGE).to_numpy(dtype=bool) & (day < since)
    kept = log.only(~(old & of_one_version(log)))
    return replace(history, tables={**history.tables, "home_log": kept})


def care_turns(history: History, groups: Groups) -> Flags:
    """On which mornings does what is known of the dressings of a family change, or its day come?"""
    n = len(groups.mornings)
    turns = np.zeros((groups.n_rows, n + 1), dtype=np.bool_)
    turns[:, 0] = turns[groups.together] = True
    for name, dates in {**_DATES, "home_log": ("done_on",)}.items():
        versions = history.tables[name]
        group, known = versions.frame[GROUP].to_numpy(), groups.known_from(versions)
        turns[group, known] = True
        again = np.flatnonzero(versions.next_at < len(group))
        turns[group[again], known[versions.next_at[again]]] = True
        for date in dates:
            turns[group, np.maximum(known, groups.reached(days_of(versions.frame[date])))] = True
    turns[groups.always] = False
    return turns[:, :n]


def due_turns(day: Day, family: Ints, nth: Ints, ahead: Ints, groups: Groups) -> Flags:
    """On which later mornings does a dressing of a replayed one become overdue by the calendar?

    Parameters
    ----------
    day : Day
        Of the families replayed.
    family, nth : int64 array
        By row of ``day.care(Task.DRESSING)``: number of the family, and which morning it was.
    ahead : int64 array
        By morning: days by which its dates are later than they were written.
    groups : Groups
        Of the mornings.
    """
    settings, care = day.edition.settings, day.care(Task.DRESSING)
    turns = np.zeros((groups.n_rows, len(groups.mornings) + 1), dtype=np.bool_)
    until, unknown = days_of(care["allowed_until"]), days_of(care["unknown_since"])
    for since, days in (
        (until, 1),
        (until, settings.overdue_call_days),
        (unknown, settings.unknown_call_days),
    ):
        place = groups.reached(since - ahead[nth] + days)
        later = (since != NO_DAY) & (place > nth)
        turns[family[later], place[later]] = True
    return turns[:, :-1]


def other_reasons(history: History, groups: Groups, policy: Policy, settings: Any) -> Flags:
    """On which mornings may a family have a reason that is not about its dressing?

    Every family that has one is there; some that are have none.
    """
    found = (
        _finding(history, groups, policy, settings)
        | _silent(history, groups, settings.silent_after_days)
        | _kits_short(history, groups, settings)
        | _without_sign_off(history, groups, settings)
    )
    for task in _OTHER_TASKS:
        found |= _overdue(history, groups, policy, task)
    found[groups.together] = True
    return found


def resting_turns(history: History, groups: Groups, recheck_days: int) -> Flags:
    """On which mornings may a call or postponement keep a family off the list?"""
    calls = with_days_back(history.calls.frame, recheck_days)["recheck_on"]
    found = groups.none()
    for acts, until in ((history.calls, calls), (history.arrangements, None)):
        until_on = acts.frame["until_on"] if until is None else until
        stop = groups.reached(days_of(until_on))
        found |= groups.between(acts.frame[GROUP].to_numpy(), groups.known_from(acts), stop)
    found[groups.together] = True
    return found


def _logged(history: History, groups: Groups) -> tuple[pd.DataFrame, Ints, Ints, Ints]:
    """The log, and by entry its group, its day and the first morning that knows it."""
    log = history.tables["home_log"]
    day = days_of(log.frame["done_on"])
    known = np.maximum(groups.known_from(log), groups.reached(day))
    return log.frame, log.frame[GROUP].to_numpy(), day, known


def _finding(history: History, groups: Groups, policy: Policy, settings: Any) -> Flags:
    """An entry with a red flag or a skin finding is recent."""
    frame, group, day, known = _logged(history, groups)
    edition = policy.on(date_at(int(groups.mornings[0])))
    found = groups.none()
    for mark, days in (
        (FindingMark.RED_FLAG, settings.red_flag_days),
        (FindingMark.SKIN_EVENT, settings.skin_open_days),
    ):
        holds = holds_code(frame["findings"], edition.codes_marked(mark))
        stop = groups.reached(day[holds] + days + 1)
        found |= groups.between(group[holds], known[holds], stop)
    return found


def _newest(groups: Groups, of: Ints, n: int, known: Ints, day: Ints) -> Ints:
    """By number (0 … n - 1) and morning, the newest known day."""
    newest = np.full((n, len(groups.mornings) + 1), _LONG_AGO)
    np.maximum.at(newest, (of, known), day)
    return np.maximum.accumulate(newest[:, :-1], axis=1)


def _silent(history: History, groups: Groups, limit: int) -> Flags:
    """No entry that was never corrected is newer than the limit."""
    _, group, day, known = _logged(history, groups)
    plain = of_one_version(history.tables["home_log"])
    newest = _newest(groups, group[plain], groups.n_rows, known[plain], day[plain])
    return np.asarray(groups.mornings - newest > limit, dtype=np.bool_)


def _kits_short(history: History, groups: Groups, settings: Any) -> Flags:
    """So many changes follow a count of kits that too few may be left."""
    frame, group, day, known = _logged(history, groups)
    lines = history.tables["lines"].frame
    valid = np.full(groups.n_rows, settings.kits_count_valid_days, dtype=np.int64)
    every = lines["kit_delivery_days"].to_numpy(dtype=np.int64, na_value=0)
    np.maximum.at(valid, lines[GROUP].to_numpy(), every)
    is_change = (frame["kind"] == EntryKind.DRESSING_CHANGE).to_numpy(dtype=bool)
    changes = np.sort((group[is_change] << DAY_BITS) + day[is_change])
    at = np.flatnonzero(frame["kits_left"].notna().to_numpy(dtype=bool))
    group, day, first = group[at], day[at], known[at]
    # The change after which less than the policy's number are left: kits_left - low + 1, or none.
    spare = frame["kits_left"].to_numpy(dtype=np.int64, na_value=0)[at] - settings.kits_low
    nth = np.searchsorted(changes, (group << DAY_BITS) + day) + spare
    ends = np.append(changes, np.iinfo(np.int64).max)[np.clip(nth, 0, len(changes))]
    used = groups.reached(ends & ((1 << DAY_BITS) - 1))
    used[ends >> DAY_BITS != group] = len(groups.mornings)
    first = np.where(spare < 0, first, np.maximum(first, used))
    stop = groups.reached(day + valid[group])
    if NEEDED_BEFORE in frame:
        stop = np.minimum(stop, frame[NEEDED_BEFORE].to_numpy()[at])
    return groups.between(group, first, stop)


def _without_sign_off(history: History, groups: Groups, settings: Any) -> Flags:
    """A recent change was made by a caregiver without a sign-off that is known on all mornings.

    A later demonstration takes the sign-off away only if it went otherwise.
    """
    frame, group, day, known = _logged(history, groups)
    back = settings.sign_off_recent_days
    recent = (day >= groups.mornings[0] - back) & (known < len(groups.mornings))
    entries = frame.loc[recent, ["kind", "caregiver_id", "done_on"]]
    entries = entries.assign(group=group[recent], known=known[recent], day=day[recent])
    sign_offs = history.tables["sign_offs"]
    shown, steady = sign_offs.frame, of_one_version(sign_offs)
    steady &= sign_offs.received <= groups.moments[0]
    failed = (shown["outcome"] != SignOffOutcome.INDEPENDENT).to_numpy(dtype=bool)
    unsure = is_among(entries["caregiver_id"], shown.loc[~steady & failed, "caregiver_id"])
    without = changes_without_sign_off(entries[~unsure], shown[steady], settings)
    some = pd.concat([without, entries[unsure]])
    stop = groups.reached(some["day"].to_numpy() + back + 1)
    return groups.between(some["group"].to_numpy(), some["known"].to_numpy(), stop)


def _overdue(history: History, groups: Groups, policy: Policy, task: Task) -> Flags:
    """The shortest interval of a task is over since its newest change that was never corrected.

    Nothing is overdue that a stay or the removal of a port's needle has ended since.
    """
    frame, _, day, known = _logged(history, groups)
    plain = of_one_version(history.tables["home_log"])
    lines = history.tables["lines"].frame
    codes = lines["line_id"].drop_duplicates()
    line, of_row = (positions_of(of["line_id"], codes) for of in (frame, lines))
    shortest = _shortest_intervals(policy, task, lines, of_row, len(codes))

    def newest(kinds: Sequence[EntryKind], only: Flags | None = None) -> Ints:
        """By line and morning: of rows known by then, else of all rows dated by then."""
        rows = frame["kind"].isin(kinds).to_numpy() & (line >= 0)
        rows = rows if only is None else rows & only
        first = groups.reached(day[rows]) if only is None else known[rows]
        return _newest(groups, line[rows], len(codes), first, day[rows])

    kinds = _OTHER_TASKS[task]
    sure, ever = newest(kinds, plain), newest(kinds)
    late = groups.mornings - sure > shortest[:, np.newaxis]
    late[sure == _LONG_AGO] = True
    late &= ever > _LONG_AGO
    late &= ever >= _left_home(history, groups, lines, of_row, len(codes))
    if task is Task.NEEDLE:
        late &= ever >= newest((EntryKind.PORT_DEACCESSED,), plain)
        is_port = (lines["line_type"] == LineType.IMPLANTED_PORT).to_numpy(dtype=bool)
        late[np.setdiff1d(of_row, of_row[is_port])] = False
    found = groups.none()
    at, nth = np.nonzero(late)
    owner = np.zeros(len(codes), dtype=np.int64)
    owner[of_row] = lines[GROUP].to_numpy()
    found[owner[at], nth] = True
    return found


def _shortest_intervals(
    policy: Policy, task: Task, lines: pd.DataFrame, of_row: Ints, n: int
) -> Ints:
    """By line (0 … n - 1), no fewer days than any interval of the task has."""
    cells = [
        edition.interval_days(task, dressing, line_type)
        for edition in policy.editions
        for dressing in (*DressingType, None)
        for line_type in (*LineType, None)
    ]
    shortest = np.full(n, min((d for d in cells if d is not None), default=1 << 20))
    if task is Task.FLUSH:
        order = lines["flush_every_days"].to_numpy(dtype=np.int64, na_value=0)
        np.minimum.at(shortest, of_row[order > 0], order[order > 0])
    return shortest


def _left_home(history: History, groups: Groups, lines: pd.DataFrame, of_row: Ints, n: int) -> Ints:
    """By line (0 … n - 1) and morning, the first night of the newest stay known not to be in doubt."""
    stays = history.tables["stays"]
    from_on, to_on = (days_of(stays.frame[name]) for name in ("from_on", "to_on"))
    unsure = stays.void | ((to_on != NO_DAY) & (to_on <= from_on))
    sure = ~np.isin(stays.key, stays.key[unsure])
    children = lines["child_id"].drop_duplicates()
    child = positions_of(stays.frame["child_id"], children)
    known = np.maximum(groups.known_from(stays), groups.reached(from_on))
    newest = _newest(groups, child[sure], len(children), known[sure], from_on[sure])
    of_line = np.zeros(n, dtype=np.int64)
    of_line[of_row] = positions_of(lines["child_id"], children)
    return newest[of_line]
