"""Which entries of the log can a list of some mornings depend on, and did they suffice?

Of an old entry most lists need nothing: only the newest of its kind, the last dressing changes
and what was found compromised since. Entries that came or were corrected after the first morning
stay, as do accesses and changes of ports, which count only while a port is accessed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import days_of
from analysis.decisions.history import History
from analysis.policy import Settings
from analysis.tables.codes import is_among
from analysis.vocabulary import COMPROMISED_WORDS, EntryKind, LineType

SPARE = 3
"""Dressing changes more than the policy's patterns look at."""
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
    """A history without the entries that its mornings hardly need."""

    history: History
    first_change: pd.Series[int]
    """By code of a line whose changes were left out: day of the oldest one still there."""


def recent(history: History, known_at: int, first: int, settings: Settings) -> Recent:
    """Leave out old entries.

    Parameters
    ----------
    history : History
        Of whole families.
    known_at : int
        Microseconds UTC: what was received by then is known on the first morning.
    first : int
        The first morning, days since 1970.
    settings : Settings
        Of the edition in force on the mornings.
    """
    log, lines = history.tables["home_log"], history.tables["lines"].frame
    frame = log.frame
    looks_back = max(settings.red_flag_days, settings.skin_open_days, settings.sign_off_recent_days)
    day = days_of(frame["done_on"])
    _, key = np.unique(log.key, return_inverse=True)
    old = (np.bincount(key)[key] == 1) & ~log.void & (log.received <= known_at)
    old &= day < first - looks_back
    families = lines.groupby("line_id")["family_id"].nunique()
    old &= ~is_among(frame["line_id"], families.index[(families > 1).to_numpy()])
    ports = lines.loc[(lines["line_type"] == LineType.IMPLANTED_PORT).to_numpy(), "line_id"]
    old &= ~(frame["kind"].isin(_OF_PORTS).to_numpy(dtype=bool) & is_among(frame["line_id"], ports))
    for name in ("dressing_condition", "change_reason"):
        old &= ~frame[name].isin([*COMPROMISED_WORDS]).to_numpy(dtype=bool)
    line, line_ids = pd.factorize(frame["line_id"])
    family, _ = pd.factorize(frame["family_id"])
    kind = frame["kind"].cat.codes.to_numpy().astype(np.int64)
    needed = ~old
    is_change = (frame["kind"] == EntryKind.DRESSING_CHANGE).to_numpy(dtype=bool)
    needed |= old & (day == _newest(old, line * 100 + kind, day))
    counts = old & frame["kits_left"].notna().to_numpy(dtype=bool)
    counted_on = _newest(counts, family, day)
    needed |= counts & (day == counted_on)
    needed |= is_change & (day >= counted_on)
    most = max(settings.late_pattern_of, settings.early_failures_of) + SPARE
    needed |= is_change & (day >= _nth_newest(old & is_change, line, day, most))
    left = is_change & needed
    without = np.unique(line[is_change & ~needed])
    oldest = np.full(len(line_ids) + 1, np.iinfo(np.int64).max)
    np.minimum.at(oldest, line[left], day[left])
    kept = replace(history, tables={**history.tables, "home_log": log.only(needed)})
    return Recent(kept, pd.Series(oldest[without], index=pd.Index(line_ids)[without]))


def _newest(chosen: Flags, group: Ints, day: Ints) -> Ints:
    """By row, the newest day of the chosen rows of its group; the smallest number for none."""
    _, group = np.unique(group, return_inverse=True)
    newest = np.full(int(group.max(initial=-1)) + 1, np.iinfo(np.int64).min)
    np.maximum.at(newest, group[chosen], day[chosen])
    return newest[group]


def _nth_newest(chosen: Flags, line: Ints, day: Ints, most: int) -> Ints:
    """By row, the day of the nth newest date of its line's chosen rows; fewer: the smallest number."""
    dates = np.unique((line[chosen] << 20) + day[chosen])
    of, on = dates >> 20, dates & ((1 << 20) - 1)
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
