"""When was each family last heard from, and on which days was it not silent?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.days import NO_DAY, date_at, day_number
from analysis.policy import Policy
from analysis.timeline.axis import Axis, Flags, Ints, Spans, first_key, line_of, merged
from analysis.timeline.coded import Entries, Lines


@dataclass(frozen=True)
class Silence:
    """One position a family; days since 1970."""

    last_heard: Ints
    """`NO_DAY`: never heard from."""
    heard_row: Ints
    """Stored row of the last entry of that day; -1: none."""
    days: Ints
    silent: Flags


def silence(axis: Axis, lines: Lines, entries: Entries, policy: Policy) -> Silence:
    """Find when each family was last heard from, and whether it is silent (definitions §4).

    Last heard is the newest date of any entry of the family, also one written before it
    came home; the row is the last entry of that date. A family never heard from is silent
    since the earliest `home_from` of its lines; before that day it is silent for 0 days.
    """
    n = len(lines.family_ids)
    known = np.flatnonzero(entries.family >= 0)
    family, day = entries.family[known], entries.day[known]
    newest = np.full(n, NO_DAY, dtype=np.int64)
    np.maximum.at(newest, family, day)
    on_newest = known[day == newest[family]]
    order = np.lexsort((entries.row[on_newest], entries.at[on_newest]))
    heard_row = np.full(n, -1, dtype=np.int64)
    heard_row[entries.family[on_newest[order]]] = entries.row[on_newest[order]]
    since = np.where(newest == NO_DAY, home_from_by_family(lines), newest)
    silent_days = np.maximum(axis.as_of - since, 0)
    limit = policy.on(date_at(axis.as_of)).settings.silent_after_days
    return Silence(newest, heard_row, silent_days, silent_days > limit)


def heard_spans(axis: Axis, lines: Lines, entries: Entries, policy: Policy) -> Spans:
    """Return the days on which each family was not silent, on an axis of families.

    A day *d* is judged in its morning, by the entries dated up to it and by the policy
    edition in force on it: it is heard when *d* less the day last heard is at most
    `silent_after_days`. Until the first entry the earliest `home_from` is used.
    """
    known = np.flatnonzero(entries.family >= 0)
    heard = np.sort(axis.pack(entries.family[known], entries.day[known]))
    position = np.arange(len(lines.family_ids), dtype=np.int64)
    first = np.searchsorted(heard, first_key(position))
    has_entry = np.searchsorted(heard, first_key(position + 1)) > first
    first_on = np.full(len(position), axis.later, dtype=np.int64)
    first_on[has_entry] = axis.day(heard[first[has_entry]])
    coming = home_from_by_family(lines)
    counts = (coming < first_on) & (coming <= axis.as_of)
    since_coming = axis.pack(position[counts], coming[counts])
    parts = [_days_after(axis, key, policy) for key in (heard, since_coming)]
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


def home_from_by_family(lines: Lines) -> Ints:
    """Return the earliest `home_from` among the lines of each family."""
    coming = np.full(len(lines.family_ids), np.iinfo(np.int64).max, dtype=np.int64)
    np.minimum.at(coming, lines.family, lines.home_from)
    return coming
