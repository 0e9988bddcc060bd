"""What recent evidence shows of each caregiver and step, read from definitions §8 one at a time.

Slow and obvious on purpose: plain loops, nothing of `analysis` but its words. The probability of a
share above its limit is given; how it is found is compared elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from analysis.vocabulary import NeedState

LIKELY, RUN, FEWEST = 0.8, 5, 4
"""Project choices: probability from which a share is above its limit; missed in a row whatever
was before; occasions below which it is too early to tell."""
FACT = "no_sign_off"


@dataclass(frozen=True)
class Occasion:
    """One occasion of one step."""

    family_id: str
    caregiver_id: str | None
    step: str
    done_on: date
    missed: bool
    row: int


@dataclass(frozen=True)
class Evidence:
    """What was seen of one caregiver and step in the window and before it."""

    seen: int
    missed: int
    missed_in_row: int
    seen_before: int
    missed_before: int
    recent_from: date
    refreshed_on: date | None
    rows: tuple[int, ...]


def months_before(day: date, months: int) -> date:
    """The same day of an earlier month, or its last day."""
    total = day.year * 12 + day.month - 1 - months
    year, month = divmod(total, 12)
    for last in (day.day, 30, 29, 28):
        try:
            return date(year, month + 1, min(day.day, last))
        except ValueError:
            continue
    raise AssertionError


def evidence_of(
    occasions: Sequence[Occasion],
    caregiver_id: str | None,
    refreshers: Sequence[tuple[str, date]],
    as_of: date,
    months: int,
) -> Evidence:
    """Evidence of one caregiver and step, all of whose occasions are given.

    `refreshers` are those of the family. Where the log names nobody, any of them counts.
    """
    window = months_before(as_of, months)
    given = [on for who, on in refreshers if caregiver_id in (None, who) and on <= as_of]
    refreshed_on = max(given, default=None)
    recent_from = window if refreshed_on is None else max(window, refreshed_on)
    recent = [one for one in occasions if one.done_on >= recent_from]
    before = [one for one in occasions if one.done_on < recent_from]
    in_row = 0
    for one in sorted(recent, key=lambda o: (o.done_on, o.row), reverse=True):
        if not one.missed:
            break
        in_row += 1
    return Evidence(
        seen=len(recent),
        missed=sum(one.missed for one in recent),
        missed_in_row=in_row,
        seen_before=len(before),
        missed_before=sum(one.missed for one in before),
        recent_from=recent_from,
        refreshed_on=refreshed_on,
        rows=tuple(sorted(one.row for one in recent if one.missed)),
    )


def is_listed(found: Evidence, as_of: date, months: int) -> bool:
    """Something was missed recently, or before a refresher of the window."""
    return found.missed > 0 or (_lately(found, as_of, months) and found.missed_before > 0)


def state_of(
    found: Evidence, step: str, probability: float | None, as_of: date, months: int
) -> NeedState:
    """Its state, given the probability that its share is above the limit."""
    if step == FACT:
        return NeedState.RETRAIN if found.missed_in_row else NeedState.IMPROVED
    lately = _lately(found, as_of, months)
    if lately and found.seen < FEWEST:
        return NeedState.TOO_EARLY
    assert probability is not None
    if probability >= LIKELY or found.missed_in_row >= RUN:
        return NeedState.RETRAIN
    if not lately:
        return NeedState.NO_NEED
    clearly_less = (
        found.seen_before > 0
        and found.missed / found.seen < found.missed_before / found.seen_before - 1e-12
    )
    return NeedState.IMPROVED if probability < 0.5 and clearly_less else NeedState.WATCH


def _lately(found: Evidence, as_of: date, months: int) -> bool:
    return found.refreshed_on is not None and found.refreshed_on >= months_before(as_of, months)
