"""When was each family last heard from, and on which days was it not silent?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.days import NO_DAY, date_at, day_number
from analysis.policy import Policy
from analysis.timeline.axis import Axis, Flags, Ints, Spans, line_of, merged

if TYPE_CHECKING:
    from analysis.timeline.build import Coded


@dataclass(frozen=True)
class Silence:
    """One position a family; days since 1970."""

    last_heard: Ints
    """`NO_DAY`: never heard from."""
    heard_row: Ints
    """Stored row of the last entry of that day; -1: none."""
    home_since: Ints
    """First day of the present time at home; `NO_DAY`: no line at home on the as-of day."""
    days: Ints
    silent: Flags


def silence(coded: Coded, policy: Policy) -> Silence:
    """Find when each family was last heard from, and whether it is silent (definitions §4).

    Last heard is the newest date of any entry of the family, also one written before it came
    home; the row is the last entry of that date. Silent days count from the later of that date
    and the first day of the present time at home: the days up to the as-of day on which the
    family had a line at home without a break. A family without a line at home on the as-of day
    is not silent; its silent days count from the date it was last heard, 0 if never.
    """
    axis, entries = coded.axis, coded.entries
    n = len(coded.lines.family_ids)
    known = np.flatnonzero(entries.family >= 0)
    family, day = entries.family[known], entries.day[known]
    newest = np.full(n, NO_DAY, dtype=np.int64)
    np.maximum.at(newest, family, day)
    on_newest = known[day == newest[family]]
    order = np.lexsort((entries.row[on_newest], entries.at[on_newest]))
    heard_row = np.full(n, -1, dtype=np.int64)
    heard_row[entries.family[on_newest[order]]] = entries.row[on_newest[order]]
    times = times_at_home(coded)
    now = axis.day(times.end) > axis.as_of
    home_since = np.full(n, NO_DAY, dtype=np.int64)
    home_since[line_of(times.start[now])] = axis.day(times.start[now])
    since = np.maximum(newest, home_since)
    days = np.where(since == NO_DAY, 0, axis.as_of - since)
    limit = policy.on(date_at(axis.as_of)).settings.silent_after_days
    return Silence(newest, heard_row, home_since, days, (days > limit) & (home_since != NO_DAY))


def times_at_home(coded: Coded) -> Spans:
    """Return the times in which each family had a line at home, on an axis of families.

    The as-of day belongs to them when a line is at home on it.
    """
    axis, home, attributes = coded.axis, coded.home, coded.attributes
    here = np.flatnonzero(home.at_home)
    today = axis.pack(here, np.full(len(here), axis.as_of))
    start = np.concatenate([home.periods.start, today])
    end = np.concatenate([home.periods.end, today + 1])
    pieces = attributes.pieces(merged(start, end))
    family = attributes.family[attributes.on(pieces.start)]
    return merged(
        axis.pack(family, axis.day(pieces.start)), axis.pack(family, axis.day(pieces.end))
    )


def heard_spans(coded: Coded, policy: Policy) -> Spans:
    """Return the days on which each family was not silent, on an axis of families.

    A day *d* at home is judged in its morning, by the entries dated up to it and by the policy
    edition in force on it: it is heard when *d* less the later of the day last heard and the
    first day of the time at home it belongs to is at most `silent_after_days`.
    """
    axis, entries = coded.axis, coded.entries
    known = np.flatnonzero(entries.family >= 0)
    heard = np.sort(axis.pack(entries.family[known], entries.day[known]))
    # A span from an earlier time at home may reach into a later one, where it changes nothing:
    # the later time's own first day is nearer.
    starts = times_at_home(coded).start
    parts = [_days_after(axis, key, policy) for key in (heard, starts)]
    return merged(*(np.concatenate(p) for p in zip(*parts, strict=True)))


def _days_after(axis: Axis, key: Ints, policy: Policy) -> Spans:
    """Return the days on which what was heard on packed days keeps a family from silence."""
    family, day = line_of(key), axis.day(key)
    pieces = []
    for at, edition in enumerate(policy.editions):
        begins = axis.base if at == 0 else day_number(edition.effective_from)
        is_last = at + 1 == len(policy.editions)
        ends = axis.later if is_last else day_number(policy.editions[at + 1].effective_from)
        from_on = np.clip(day, begins, axis.later)
        to_on = np.minimum(day + edition.settings.silent_after_days + 1, min(ends, axis.later))
        real = from_on < to_on
        pieces.append(
            merged(axis.pack(family[real], from_on[real]), axis.pack(family[real], to_on[real]))
        )
    return Spans(*(np.concatenate(p) for p in zip(*pieces, strict=True)))
