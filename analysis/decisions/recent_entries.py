"""Which entries of the log can the lists of some mornings depend on, and did they suffice?

Of most entries a list needs only the newest of their kind, so each has a morning from which it is
not needed any more. Of dressing changes it needs the last ones, and what was found compromised
since. Entries that were corrected stay, as do those of lines that changed their family, and accesses
and changes of ports, which count only while a port is accessed. Lines that ended long ago are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, days_of
from analysis.decisions.history import History, Versions
from analysis.policy import Policy, Settings
from analysis.tables.codes import is_among
from analysis.timeline.axis import DAY_BITS, unique_sorted
from analysis.vocabulary import COMPROMISED_WORDS, NOTHING_SEEN, EntryKind, LineType, Skill

UNREAD = ("entry_id", "steps_missed", "note")
"""Columns of the log in which no reason to call is found."""
SPARE = 3
"""Dressing changes more than the policy's patterns look at."""
FOR_PORTS = 4
"""Times as many of a port: an access is a change, and ends without one when the needle is removed."""
NEEDED_BEFORE = "needed_before"
"""Column of the log: place of the first of the mornings that does not need the entry."""
_OF_PORTS = (
    str(EntryKind.PORT_ACCESSED),
    str(EntryKind.PORT_DEACCESSED),
    str(EntryKind.DRESSING_CHANGE),
    str(EntryKind.NEEDLE_CHANGE),
)

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Recent:
    """A history without the lines and entries that its mornings hardly need."""

    history: History
    """With the column `NEEDED_BEFORE` of the log."""
    first_change: pd.Series[int]
    """By code of a line whose changes were left out: day of the oldest one still there."""


def without_replaced(
    log: pd.DataFrame,
    revised: Versions,
    lines: Versions,
    known_at: int,
    morning: int,
    policy: Policy,
) -> pd.DataFrame:
    """Leave out old entries of the log that newer ones of the same kind replaced before a morning.

    Parameters
    ----------
    log : DataFrame
        Entries in force, columns of `KNOWN["home_log"]`.
    revised : Versions
        Every version of the entries that were ever corrected or withdrawn.
    lines : Versions
        Every version of the lines.
    known_at : int
        Microseconds UTC: what was received by then is known on the morning.
    morning : int
        Days since 1970; no list of an earlier one is made of what is left.
    policy : Policy
        Any of its editions may be in force.

    Returns
    -------
    DataFrame
        The others in their order, without the columns `UNREAD`. No list from the morning on depends
        on those left out: no day that a list looks back to is theirs, not even for a count of kits;
        and their line had ended, or they are neither changes nor reports of a dressing nor about a
        port, and another of a later day of the same line, family and kind is known.
    """
    settings = [edition.settings for edition in policy.editions]
    silent = max(s.silent_after_days for s in settings) + 1
    back = max(looks_back(s, lines.frame) for s in settings)
    log, day = log.drop(columns=[*UNREAD]), days_of(log["done_on"])
    received = log["received_at"].to_numpy().astype("datetime64[us]").astype(np.int64)
    moved = _moved(lines)
    ended = _ended(lines, known_at, morning - silent).difference(moved)
    ended = ended.difference(pd.Index(log.loc[day >= morning - silent, "line_id"]))
    known = (received <= known_at) & (day < morning)
    known &= ~np.isin(log["row"].to_numpy(), revised.frame["row"].to_numpy())
    known &= ~is_among(log["line_id"], moved)
    old = known & (day < morning - back)
    left_out = old & is_among(log["line_id"], ended)
    some = np.flatnonzero(known & ~left_out & ~about_dressings(log))
    family, families = pd.factorize(log["family_id"].take(some))
    line, _ = pd.factorize(log["line_id"].take(some))
    kind = log["kind"].cat.codes.to_numpy()[some]
    group = ((line + 1) * (len(families) + 1) + family + 1) * 100 + kind
    every = np.ones(len(some), dtype=np.bool_)
    left_out[some] = old[some] & (day[some] < _newest(every, group, day[some]))
    return log[~left_out]


def looks_back(settings: Settings, lines: pd.DataFrame) -> int:
    """Days before a morning in which its list needs more of the log than the newest of each kind.

    Changes of dressings are needed for longer by the reasons about a dressing. `lines` are all versions.
    """
    deliveries = lines["kit_delivery_days"].to_numpy(dtype=np.int64, na_value=0)
    return max(
        settings.silent_after_days + 1,
        settings.red_flag_days,
        settings.skin_open_days,
        settings.sign_off_recent_days,
        settings.kits_count_valid_days,
        int(deliveries.max(initial=0)),
    )


def recent(
    history: History, moments: Sequence[int], mornings: Sequence[int], settings: Settings
) -> Recent:
    """Leave out lines and entries that no morning needs.

    Parameters
    ----------
    history : History
        Of whole families.
    moments : sequence of int
        Microseconds UTC: what was received by then is known on the morning.
    mornings : sequence of int
        Days since 1970, oldest first.
    settings : Settings
        Of the edition in force on the mornings.
    """
    log, lines = history.tables["home_log"], history.tables["lines"]
    frame, day = log.frame, days_of(log.frame["done_on"])
    line, codes = pd.factorize(frame["line_id"])
    line_ids = pd.Index(codes)
    family, family_ids = pd.factorize(frame["family_id"])
    kind = frame["kind"].cat.codes.to_numpy().astype(np.int64)
    is_change = (frame["kind"] == EntryKind.DRESSING_CHANGE).to_numpy(dtype=bool)
    moved = _moved(lines)
    plain = of_one_version(log) & ~_of(moved, line, line_ids)
    since = mornings[0] - settings.silent_after_days - 1
    used_lately = line_ids[np.unique(line[(day >= since) & (line >= 0)])]
    ended = _ended(lines, moments[0], since).difference(moved).difference(used_lately)
    gone = _of(ended, line, line_ids)
    is_port = (lines.frame["line_type"] == LineType.IMPLANTED_PORT).to_numpy(dtype=bool)
    of_port = _of(pd.Index(lines.frame.loc[is_port, "line_id"]), line, line_ids)
    access = of_port & (frame["kind"] == EntryKind.PORT_ACCESSED).to_numpy(dtype=bool)
    turn = access | of_port & (frame["kind"] == EntryKind.PORT_DEACCESSED).to_numpy(dtype=bool)
    cares = is_change | of_port & frame["kind"].isin(_OF_PORTS).to_numpy(dtype=bool)
    cares |= _compromising(frame)
    counts = plain & frame["kits_left"].notna().to_numpy(dtype=bool)
    before = np.where(plain, 0, len(mornings))

    some = np.flatnonzero(plain & ~is_change)
    group = (line[some] + 1) * (len(family_ids) + 1) + family[some] + 1
    group = group * 100 + kind[some]
    seen_from = np.maximum(
        np.searchsorted(moments, log.received, side="left"),
        np.searchsorted(mornings, day, side="left"),
    ).astype(np.int64)
    before[some] = _replaced(group, day[some], seen_from[some], len(mornings))
    before[some] = np.maximum(before[some], _window(frame, day, mornings, settings)[some])
    counted = np.flatnonzero(counts)
    newer = _replaced(family[counted], day[counted], seen_from[counted], len(mornings))
    before[counted] = np.maximum(before[counted], newer)

    # What intervals are made of is left out for all mornings or none: each line keeps its last changes.
    looks_back = max(settings.red_flag_days, settings.skin_open_days, settings.sign_off_recent_days)
    known = plain & (log.received <= moments[0]) & (day < mornings[0])
    changes = known & (is_change | access) & (line >= 0)
    most = max(settings.late_pattern_of, settings.early_failures_of) + SPARE
    first_kept = np.where(
        of_port,
        _nth_newest(changes, line, day, most * FOR_PORTS),
        _nth_newest(changes, line, day, most),
    )
    old = known & cares & (line >= 0) & (day < mornings[0] - looks_back)
    old &= gone | (day < first_kept)
    kept = is_change & (day >= _newest(known & counts, family, day))
    # Whether a port was accessed by then is decided by the entries of the newest date with any.
    kept |= turn & ~gone & (day == _newest(turn & old, line, day))
    before[cares & ~(old & ~kept)] = len(mornings)
    needed = before > 0
    left = changes & needed & (day >= first_kept)
    without = np.unique(line[cares & ~needed])
    oldest = np.full(len(line_ids) + 1, np.iinfo(np.int64).max)
    np.minimum.at(oldest, line[left], day[left])
    first_change = pd.Series(oldest[without], index=line_ids[without])
    marked = replace(log, frame=frame.assign(**{NEEDED_BEFORE: before}))
    there = lines.only(~is_among(lines.frame["line_id"], ended))
    tables = {
        **history.tables,
        "home_log": marked.only(needed),
        "lines": there,
        "stays": _recent_stays(history.tables["stays"], there, first_change, moments[0]),
        "sign_offs": _recent_sign_offs(
            history.tables["sign_offs"], moments[0], mornings[0] - settings.sign_off_recent_days
        ),
    }
    return Recent(replace(history, tables=tables), first_change)


def of_one_version(table: Versions) -> Flags:
    """Rows that were never corrected or withdrawn."""
    several = table.next_at < len(table.key)
    alone = ~(several | table.void)
    alone[table.next_at[several]] = False
    return alone


def about_dressings(log: pd.DataFrame) -> Flags:
    """Which entries can begin, end or change the interval of a dressing."""
    return np.asarray(log["kind"].isin(_OF_PORTS).to_numpy(dtype=bool) | _compromising(log))


def _compromising(log: pd.DataFrame) -> Flags:
    """Which entries report that a dressing no longer holds."""
    words = log[["dressing_condition", "change_reason"]]
    return np.asarray(words.isin([*COMPROMISED_WORDS]).any(axis=1), dtype=np.bool_)


def _recent_stays(
    stays: Versions, lines: Versions, first_change: pd.Series[int], known_at: int
) -> Versions:
    """Leave out stays that were over before the oldest change still there of each of the child's lines."""
    first = first_change.reindex(lines.frame["line_id"]).fillna(np.iinfo(np.int64).min)
    by_child = first.groupby(lines.frame["child_id"].to_numpy()).min()
    known = stays.frame["child_id"].map(by_child).fillna(np.iinfo(np.int64).min)
    by = known.to_numpy(dtype=np.int64)
    over = of_one_version(stays) & (stays.received <= known_at)
    for name in ("from_on", "to_on", "dressing_on"):
        day = days_of(stays.frame[name])
        over &= day < by  # a blank is before every day
    over &= days_of(stays.frame["to_on"]) != NO_DAY
    return stays.only(~over)


def _recent_sign_offs(sign_offs: Versions, known_at: int, by: int) -> Versions:
    """Leave out demonstrations of other skills, and those that a newer one replaced by a day."""
    frame, day = sign_offs.frame, days_of(sign_offs.frame["signed_on"])
    of_change = (frame["skill"] == Skill.DRESSING_CHANGE).to_numpy(dtype=bool)
    known = of_change & of_one_version(sign_offs) & (sign_offs.received <= known_at) & (day <= by)
    whose, _ = pd.factorize(frame["caregiver_id"])
    old = known & (day < _newest(known, whose, day))
    return sign_offs.only(of_change & ~old)


def _moved(lines: Versions) -> pd.Index[str]:
    """Lines that were of several families, or of several types."""
    by_line = lines.frame.groupby("line_id")
    several = (by_line["family_id"].nunique() > 1) | (by_line["line_type"].nunique() > 1)
    return several.index[several.to_numpy()]


def _ended(lines: Versions, known_at: int, since: int) -> pd.Index[str]:
    """Lines that by what was known at a moment ended before a day, and of which nothing came later."""
    over = np.zeros(len(lines.frame), dtype=np.bool_)
    for name in ("removed_on", "left_on"):
        end = days_of(lines.frame[name])
        over |= (end != NO_DAY) & (end < since)
    last = (lines.next_at == len(lines.frame)) & ~lines.void & (lines.received <= known_at)
    return pd.Index(lines.frame.loc[over & last, "line_id"])


def _of(chosen: pd.Index[str], line: Ints, line_ids: pd.Index[str]) -> Flags:
    """Which entries are of the chosen lines; `line` is their place in `line_ids`, -1: of none."""
    return np.append(line_ids.isin(chosen), False)[line]


def _window(frame: pd.DataFrame, day: Ints, mornings: Sequence[int], settings: Settings) -> Ints:
    """By entry, the place of the first morning that does not look back as far as its findings."""
    findings = frame["findings"]
    blank = findings.isna().to_numpy(dtype=bool)
    clear = (findings == NOTHING_SEEN).to_numpy(dtype=bool, na_value=False)
    longest = max(settings.red_flag_days, settings.skin_open_days)
    days = np.where(clear, settings.skin_open_days, longest)
    place = np.searchsorted(mornings, day + days, side="right").astype(np.int64)
    return np.where(blank, 0, place)


def _replaced(group: Ints, day: Ints, seen_from: Ints, never: int) -> Ints:
    """By entry, the first morning that knows one of a later day of its group.

    `seen_from` is the place of the first morning that knows the entry, `never` that after all.
    """
    n = len(day)
    # Before: one row an entry in any order; after: by group, the newest day first.
    order = np.lexsort((-day, group))
    _, nth = np.unique(group, return_inverse=True)
    nth, on = nth[order], day[order]
    # Each group's numbers are below those of the groups before it, so a minimum starts again.
    earliest = np.minimum.accumulate(seen_from[order] - nth * (never + 1)) + nth * (never + 1)
    first = np.ones(n, dtype=bool)
    first[1:] = (nth[1:] != nth[:-1]) | (on[1:] != on[:-1])
    start = np.maximum.accumulate(np.where(first, np.arange(n), 0))
    later = np.maximum(start - 1, 0)
    found = np.full(n, never, dtype=np.int64)
    found[order] = np.where((start > 0) & (nth[later] == nth), earliest[later], never)
    return found


def _newest(chosen: Flags, group: Ints, day: Ints) -> Ints:
    """By row, the newest day of the chosen rows of its group; the smallest number for none."""
    group, _ = pd.factorize(group)
    newest = np.full(int(group.max(initial=-1)) + 1, np.iinfo(np.int64).min)
    np.maximum.at(newest, group[chosen], day[chosen])
    return newest[group]


def _nth_newest(chosen: Flags, line: Ints, day: Ints, most: int) -> Ints:
    """By row, the day of the nth newest date of its line's chosen rows; fewer: the smallest number."""
    dates = unique_sorted((line[chosen] << DAY_BITS) + day[chosen])
    of, on = dates >> DAY_BITS, dates & ((1 << DAY_BITS) - 1)
    nth = np.full(int(line.max(initial=-1)) + 1, np.iinfo(np.int64).min)
    enough = np.flatnonzero(of[most - 1 :] == of[: max(len(of) - most + 1, 0)])
    nth[of[enough]] = on[enough]  # of a line the last of these is the one meant
    return nth[line]


def too_few(changes: pd.DataFrame, first_change: Ints, settings: Settings, at_home: Flags) -> Flags:
    """Which lines need the entries left out after all.

    Parameters
    ----------
    changes : DataFrame
        Dressing intervals: `line` (0 …), `day` (of the change, as written), `scored`, `by_home`.
    first_change : int64 array
        By line: day of the oldest change still there; the smallest number: none was left out.
    settings : Settings
        Of the edition in force.
    at_home : bool array
        By line.

    Returns
    -------
    bool array
        By line. Intervals since the oldest change are as with all entries, so where there are as
        many as the policy's patterns look at, nothing else can matter.
    """
    line, day = changes["line"].to_numpy(), changes["day"].to_numpy()
    n = len(first_change)
    scored = changes["scored"].to_numpy(dtype=bool) & (day >= first_change[line])
    by_home = changes["by_home"].to_numpy(dtype=bool) & (day > first_change[line])
    enough = np.bincount(line[scored], minlength=n) >= settings.late_pattern_of
    enough &= np.bincount(line[by_home], minlength=n) >= settings.early_failures_of
    return at_home & ~enough & (first_change > np.iinfo(np.int64).min)
