"""Has the rate of an event risen at a site or in the programme, since when, and by how much?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import date_at, days_of
from analysis.measures.completeness import provisional_rates
from analysis.measures.counts import MeasureError, check_event, is_logged_at_home, usual_basis
from analysis.measures.coverage import heard_days
from analysis.measures.snapshot_data import SnapshotData, hash_of, once, unless_same
from analysis.stats.gaps import open_gap
from analysis.stats.intervals import PER, exact_rate_interval
from analysis.stats.surveillance import (
    Calendar,
    Cells,
    Threshold,
    Units,
    change,
    followed,
    largest_of,
    log_statistic,
    threshold,
)
from analysis.tallies import Tallies
from analysis.tallies.steps import FIRST_DAYS, StepDays, step_days, step_events, step_places
from analysis.timeline.axis import starts_of_runs
from analysis.vocabulary import Basis, Grouping, OutcomeKind

SKIN = "skin"
PROGRAMME = "all"
"""Name of the programme where a site is asked for."""
FALSE_SIGNAL_YEARS = 3.0
"""A steady programme has one false signal in about so many years, over all sites and events."""
LARGE = 3.0
"""Where not even so many times the rate would show within a year, there are too few events."""
STEPS_A_YEAR = 48


class SignalCode(StrEnum):
    """What is known of one rate."""

    RISEN = "risen"
    """It passed the threshold, and late reports can only raise it or it still does."""
    ROSE_EARLIER = "rose_earlier"
    """It passed the threshold, but no longer does."""
    STEADY = "steady"
    TOO_FEW_EVENTS = "too_few_events"
    """Even a rate `LARGE` times as high would probably not show within a year."""
    TOO_EARLY = "too_early"
    """No settled baseline yet."""
    NOT_JUDGED = "not_judged"
    """Too few days are logged."""


@dataclass(frozen=True)
class Rise:
    """Since when, and how many times as high."""

    since: str
    """Month, ``2031-03``."""
    earliest: str
    latest: str
    ratio: float
    lower: float
    upper: float
    raised_on: date
    """Day after the days that first passed the threshold."""
    provisional: bool
    """Only days that late reports may still change pass it."""
    chance: float
    """Share of steady programmes like this one with a signal as strong at any site and event."""


@dataclass(frozen=True)
class MonthCount:
    """Events and line-days of one rate in one month."""

    month: str
    events: int
    line_days: int
    """Days on which the event could be known, in months that can be judged."""
    provisional: bool
    in_baseline: bool

    @property
    def rate_per_1000(self) -> float:
        """Nan without line-days."""
        return PER * self.events / self.line_days if self.line_days else math.nan


@dataclass(frozen=True)
class FollowedRate:
    """One event at one site, or in the programme."""

    event: str
    site: str
    """`PROGRAMME` for the programme."""
    code: SignalCode
    rise: Rise | None
    baseline: tuple[str, str] | None
    """First and last month; None: no baseline."""
    baseline_events: int
    baseline_days: int
    events: int
    """Since the baseline."""
    line_days: int
    strength: float
    """Largest logarithm of the statistic; -inf: not followed."""
    last_event_on: date | None
    days_since_last: int
    """Since the first line-day, where there was no event."""
    chance_of_wait: float
    """Of a wait as long at the earlier rate; nan: not known."""
    rate_upper: float
    """Upper 95 % limit of the rate of all judged days, per 1000 line-days; nan: no line-days."""
    by_month: tuple[MonthCount, ...]

    @property
    def baseline_rate_per_1000(self) -> float:
        """Nan without line-days."""
        days = self.baseline_days
        return PER * self.baseline_events / days if days else math.nan


@dataclass(frozen=True)
class Surveillance:
    """All rates that are followed, each event's sites first and then the programme."""

    rates: tuple[FollowedRate, ...]
    threshold: Threshold
    years: float
    """Years that are followed, for which the threshold is set."""

    def of(self, event: str, site: str = PROGRAMME) -> FollowedRate:
        """One rate.

        Raises
        ------
        MeasureError
            The event or the site is not followed.
        """
        for rate in self.rates:
            if (rate.event, rate.site) == (event, site):
                return rate
        raise MeasureError(f"event {event!r} at site {site!r} is not followed.")


def followed_events(data: SnapshotData) -> tuple[str, ...]:
    """Skin events, then the outcomes that the clinic confirms; single findings are not followed."""
    known = {str(e) for e in data.tallies.events["event"].cat.categories}
    return (SKIN, *(str(o) for o in OutcomeKind if str(o) in known))


def surveillance(data: SnapshotData) -> Surveillance:
    """Follow every event at every site and in the programme.

    Parameters
    ----------
    data : SnapshotData
        As of a day, known at a time.

    Returns
    -------
    Surveillance
        Days are heard line-days for an event that only home logs report, a child's days for
        bloodstream infection. Provisional months are in no baseline, may raise a signal and never
        clear one. Months with a log coverage below the policy's `coverage_floor` count nowhere.

    *Source:* project definition, definitions §9; statistic, threshold, start and size as
    `stats.surveillance` describes.
    """
    steps = step_days(data.counted_timeline, data.tallies, heard_days(data))
    number, sites = pd.factorize(steps.site.astype(str))
    months = np.array(steps.months)
    starts = np.flatnonzero(np.append(True, months[1:] != months[:-1])) if len(months) else months
    calendar = Calendar(
        np.asarray(starts, np.int64), np.array([(int(m[5:]) - 0.5) / 12 for m in steps.months])
    )
    found: list[tuple[str, _Event, npt.NDArray[np.bool_]]] = []
    events = followed_events(data) if len(sites) else ()
    for at, event in enumerate(events):
        settled = _settled(data, event, months)
        found.append((event, _follow(data, steps, (event, at), number, calendar, settled), settled))
    first = min((int(e.units.cells.followed_from.min()) for _, e, _ in found), default=len(months))
    years = max(1.0, (len(months) - first) / STEPS_A_YEAR)
    limit = threshold([e.largest for _, e, _ in found], 1 - math.exp(-years / FALSE_SIGNAL_YEARS))
    rates = []
    for event, followed_event, settled in found:
        onsets = _days_of_onsets(steps, data.tallies, event, number, len(sites))
        for cell, site in enumerate([*sites, PROGRAMME]):
            rates.append(
                _rate(
                    data, steps, (event, site, cell), followed_event, settled, limit, onsets[cell]
                )
            )
    return Surveillance(tuple(rates), limit, years)


def _follow(
    data: SnapshotData,
    steps: StepDays,
    asked: tuple[str, int],
    number: npt.NDArray[np.int64],
    calendar: Calendar,
    settled: npt.NDArray[np.bool_],
) -> _Event:
    """An event, by its name and number, unless its counts are those of an earlier snapshot."""
    event, at = asked
    judged = _judged(data, event, steps, number, calendar.starts)
    places, kind = step_places(steps, data.tallies, event), _days_of(event)
    days: npt.NDArray[np.int64] = getattr(steps, kind)
    bits = once(data, ("line-days by step", kind), lambda: hash_of(days))

    def follow() -> _Event:
        sites, counts = len(np.unique(number)), step_events(steps, places)
        units = followed(counts, days, number, sites, calendar, judged, settled)
        return _Event.of(units, at)

    usable = np.array([]) if judged is None else judged
    same_days = np.frombuffer(bits, np.uint8)
    inputs = same_days, places, number, calendar.starts, calendar.turn, settled, usable
    return unless_same(data.found_of, ("followed", *asked), inputs, follow)


@dataclass(frozen=True)
class _Event:
    """What is followed of one event, by cell."""

    units: Units
    """Without families."""
    largest: npt.NDArray[np.float64]
    """As `largest_of`."""
    strength: npt.NDArray[np.float64]
    """Logarithm of the statistic, shape (cells, steps)."""

    @classmethod
    def of(cls, units: Units, at: int) -> _Event:
        """The event with this number among all."""
        strength = log_statistic(units.cells, units.events)
        return cls(units.without_families(), largest_of(units, at), strength)

    @cached_property
    def by_month(self) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """Events and line-days, each of shape (cells, months)."""
        units, starts = self.units, self.units.cells.starts
        return (
            np.add.reduceat(units.events, starts, axis=1),
            np.add.reduceat(units.judged_days, starts, axis=1),
        )

    @cached_property
    def rate_upper(self) -> npt.NDArray[np.float64]:
        """Upper limit of the rate of all judged days, shape (cells,)."""
        counts, days = (months.sum(axis=1) for months in self.by_month)
        return exact_rate_interval(counts, days).upper

    @cached_property
    def would_show(self) -> npt.NDArray[np.float64]:
        """Statistic after a year at `LARGE` times the rate, if counts were as expected; shape (cells,).

        Nan without line-days in the baseline.
        """
        cells, counts = self.units.cells, self.units.events
        before = np.array(
            [d[b].sum() for d, b in zip(cells.line_days, cells.in_baseline, strict=True)]
        )
        seen = np.array([float(c[b].sum()) for c, b in zip(counts, cells.in_baseline, strict=True)])
        a_step = np.array([days[-STEPS_A_YEAR:].mean() for days in cells.line_days])
        days = np.column_stack([before, np.repeat(a_step[:, None], STEPS_A_YEAR, axis=1)])
        year = Cells(
            days,
            np.arange(1, STEPS_A_YEAR, len(FIRST_DAYS)),
            np.zeros(len(days), dtype=np.int64),
            np.ones(len(days), dtype=np.int64),
            cells.dispersion,
        )
        rises = np.append(1.0, np.full(STEPS_A_YEAR, LARGE))
        with np.errstate(divide="ignore", invalid="ignore"):
            expected = days * np.maximum(seen, 0.5)[:, None] / before[:, None] * rises
        found = log_statistic(year, expected)[:, -1]
        return np.where(before > 0, found, np.nan)


def _days_of(event: str) -> str:
    """Which line-days of `StepDays` an event is followed on."""
    if usual_basis(event) is Basis.CHILD:
        return "child"
    return "heard" if is_logged_at_home(event) else "home"


def _settled(data: SnapshotData, event: str, months: npt.NDArray[np.str_]) -> npt.NDArray[np.bool_]:
    """Steps of months that late reports can no longer change."""
    check_event(data.tallies, event)
    table = provisional_rates(data, event, Grouping.MONTH, usual_basis(event))
    waiting = table.loc[table["provisional"].to_numpy(dtype=bool), "group"].astype(str)
    return np.asarray(~np.isin(months, list(waiting)), dtype=np.bool_)


def _judged(
    data: SnapshotData,
    event: str,
    steps: StepDays,
    number: npt.NDArray[np.int64],
    starts: npt.NDArray[np.int64],
) -> npt.NDArray[np.bool_] | None:
    """Whether enough of each site's month is logged, shape (sites + 1, steps)."""
    if not is_logged_at_home(event):
        return None
    of_site = starts_of_runs(number)
    by_month = []
    for days in (steps.heard, steps.home):
        total = np.add.reduceat(days, np.flatnonzero(of_site), axis=0)
        total = np.vstack([total, days.sum(axis=0)])
        by_month.append(np.add.reduceat(total, starts, axis=1))
    heard, home = by_month
    share = np.divide(heard, home, out=np.zeros(heard.shape), where=home > 0)
    length = np.diff(np.append(starts, steps.home.shape[1]))
    return np.repeat(share >= data.tallies.coverage_floor, length, axis=1)


def _rate(
    data: SnapshotData,
    steps: StepDays,
    cell: tuple[str, str, int],
    found: _Event,
    settled: npt.NDArray[np.bool_],
    limit: Threshold,
    onsets: npt.NDArray[np.int64],
) -> FollowedRate:
    event, site, at = cell
    units, strength = found.units, found.strength[at]
    cells, counts = units.cells, units.events[at]
    base = cells.in_baseline[at]
    after = np.arange(len(base)) >= cells.followed_from[at]
    days = units.judged_days[at]
    passed = np.flatnonzero(strength >= limit.value) if len(strength) else np.array([], np.int64)
    rise, code = None, _without_signal(found, at, limit)
    if len(passed):
        rise, current = _rise(units, at, strength, passed, settled, steps, limit)
        code = SignalCode.RISEN if current else SignalCode.ROSE_EARLIER
    last, wait, chance = _waited(data, steps, onsets)
    of_month, days_of_month = (months[at].tolist() for months in found.by_month)
    return FollowedRate(
        event=event,
        site=site,
        code=code,
        rise=rise,
        baseline=(
            (steps.months[np.flatnonzero(base)[0]], steps.months[np.flatnonzero(base)[-1]])
            if base.any() and after.any()
            else None
        ),
        baseline_events=int(counts[base].sum()),
        baseline_days=int(days[base].sum()),
        events=int(counts[after].sum()),
        line_days=int(days[after].sum()),
        strength=float(strength.max(initial=-math.inf)),
        last_event_on=last,
        days_since_last=wait,
        chance_of_wait=chance,
        rate_upper=float(found.rate_upper[at]),
        by_month=tuple(
            MonthCount(steps.months[first], n, length, not settled[first], bool(base[first]))
            for first, n, length in zip(cells.starts.tolist(), of_month, days_of_month, strict=True)
        ),
    )


def _without_signal(found: _Event, at: int, limit: Threshold) -> SignalCode:
    units = found.units
    cells, days = units.cells, units.judged_days[at]
    if not units.all_days[at].any():
        return SignalCode.TOO_EARLY
    if not days.any():
        return SignalCode.NOT_JUDGED
    if cells.followed_from[at] >= len(days) or math.isnan(limit.value):
        return SignalCode.TOO_EARLY
    after = np.arange(len(days)) >= cells.followed_from[at]
    if not days[after].any() or not days[cells.in_baseline[at]].any():
        return SignalCode.NOT_JUDGED
    if found.would_show[at] < limit.value:
        return SignalCode.TOO_FEW_EVENTS
    return SignalCode.STEADY


def _rise(
    units: Units,
    at: int,
    strength: npt.NDArray[np.float64],
    passed: npt.NDArray[np.int64],
    settled: npt.NDArray[np.bool_],
    steps: StepDays,
    limit: Threshold,
) -> tuple[Rise, bool]:
    """The rise, and whether it still shows: late reports can only raise what is provisional."""
    final = np.flatnonzero(settled)
    newest = int(final[-1]) if len(final) else -1
    current = bool((passed >= newest).any())
    until = max(newest, int(passed[-1])) if current else int(passed[-1])
    size = change(units.cells, at, units.events[at], until)
    if size is None:  # a threshold is passed only after a baseline
        raise AssertionError("a rate passed its threshold without a baseline")
    month = [steps.months[s] for s in units.cells.starts]
    begins = np.append(steps.begins, steps.begins[-1] + 7)
    rise = Rise(
        since=month[size.start],
        earliest=month[size.earliest],
        latest=month[size.latest],
        ratio=size.ratio,
        lower=size.lower,
        upper=size.upper,
        raised_on=date_at(int(begins[passed[0] + 1])),
        provisional=not settled[passed].any(),
        chance=limit.chance_of(float(strength.max())),
    )
    return rise, current


def _days_of_onsets(
    steps: StepDays, tallies: Tallies, event: str, number: npt.NDArray[np.int64], sites: int
) -> list[npt.NDArray[np.int64]]:
    """Days of the events at home of each site and of the programme, in order."""
    onsets = tallies.onsets
    ours = ((onsets["event"] == event) & onsets["at_home"]).to_numpy(dtype=bool)
    site = number[steps.row_of_holder[onsets["line"].to_numpy(dtype=np.int64)[ours]]]
    day = days_of(onsets.loc[ours, "onset_on"])
    order = np.argsort(day, kind="stable")
    site, day = site[order], day[order]
    return [*(day[site == at] for at in range(sites)), day]


def _waited(
    data: SnapshotData, steps: StepDays, days: npt.NDArray[np.int64]
) -> tuple[date | None, int, float]:
    """Day of the last event, days since, and the chance of a wait as long."""
    as_of = data.as_of.toordinal() - date_at(0).toordinal()
    if not len(days):
        return None, int(as_of - steps.first_day), math.nan
    wait = int(as_of - days[-1])
    return date_at(int(days[-1])), wait, open_gap(wait, np.diff(days)).p_as_long
