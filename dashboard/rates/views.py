"""What does the page of rates show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

from dashboard.addresses.rates import RatesChoice


@dataclass(frozen=True)
class Compared:
    """Two groups or periods: their names, their rates, their ratio, and its reading."""

    names: tuple[str, str]
    rates: pd.DataFrame
    """COMPARED_RATES with `name`, two rows."""
    ratios: pd.DataFrame
    """COMPARISON, two rows; empty when there is nothing to compare."""
    reading: str


@dataclass(frozen=True)
class Gaps:
    """From one event to the next, in days or in line-days on which it could be known."""

    unit: str
    chart: pd.DataFrame
    """GAP_CHART with `label`, the month."""
    wait: int
    """Since the last event."""
    reading: str


@dataclass(frozen=True)
class Annotation:
    """A note on the chart: what happened, when and where."""

    row: int
    mark: str
    """Its letter on the chart and in the table."""
    on: date
    site: str | None
    """None: all sites."""
    text: str
    made_by: str
    made_on: date


@dataclass(frozen=True)
class NotesOfRates:
    """The notes, and where each is on the chart."""

    annotations: tuple[Annotation, ...]
    """By day."""
    marks: pd.DataFrame
    """One row a note on the chart: `at` (periods from the middle of the first one), `mark`,
    `text`."""


@dataclass(frozen=True)
class SitePanel:
    """One site's rate by month in a small figure, with its verdict."""

    name: str
    address: str
    """Opens the site, or closes it where it is open."""
    is_open: bool
    is_signal: bool
    short: str
    """The verdict in a few words."""
    sentence: str
    months: pd.DataFrame
    """One row a month: ``label``, ``rate_per_1000`` (missing: no days), ``provisional``."""
    baseline_rate: float
    """Per 1000 line-days; nan: no baseline."""
    since: int | None
    """Position of the month since which it is higher; None: no signal."""


@dataclass(frozen=True)
class Opened:
    """What is behind the rate of one site."""

    name: str
    since_name: str
    """The month from which on it is compared with before."""
    families: tuple[tuple[str, str, str, str, str], ...]
    """Code, address of its page, events, last one, line-days."""
    mix: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...]
    """A heading and rows: group, share of line-days before and since, events, rates."""
    steps: tuple[tuple[str, ...], ...]
    """Step, missed of seen here, share here and elsewhere."""
    steps_words: str
    kits_words: str
    """How often few dressing kits were left, before and since."""
    training: str
    """Address of the educator's list."""


@dataclass(frozen=True)
class SignalsView:
    """Has harm risen anywhere? The headline, the event's sites, and the open one."""

    headline: str
    is_signal: bool
    caution: str
    baseline: str
    """Of the programme, in a sentence; empty: none."""
    panels: tuple[SitePanel, ...]
    """Empty for an event that is not followed."""
    opened: Opened | None
    table: tuple[tuple[str, ...], ...]
    """Every event and site: event, site, verdict, since, ratio with limits."""


@dataclass(frozen=True)
class WorkNote:
    """A step of the work on a signal."""

    on: date
    by: str
    state: str
    owner: str
    """Empty: nobody."""
    note: str


@dataclass(frozen=True)
class Work:
    """A signal and what is being done about it."""

    event: str
    site: str
    title: str
    short: str
    state: str
    """Its code."""
    state_name: str
    owner: str
    """Empty: nobody."""
    is_open: bool
    came_back: bool
    notes: tuple[WorkNote, ...]
    may_act: bool


@dataclass(frozen=True)
class Annotating:
    """What a person who may add notes chooses from."""

    sites: tuple[str, ...]
    """An empty one means all sites."""
    as_of: date


@dataclass(frozen=True)
class RatesView:
    """Rates of one event: over time, by group, compared, and how logging affects them."""

    choice: RatesChoice
    """As understood, with defaults filled in."""
    events: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    """Events to choose from: a heading and its codes with their names."""
    event_name: str
    groups: tuple[tuple[str, str], ...]
    """Groups of the chosen grouping: as stored, and as shown."""
    periods: tuple[tuple[str, str], ...]
    """Complete periods that an after-period may start with, newest first."""
    whole: pd.DataFrame
    """RATES of the programme with `log_coverage`: no row without line-days and events."""
    whole_words: str
    loaded_at_once: str | None
    """Why past weeks look empty in a programme that has just begun."""
    signals: SignalsView
    narrowings: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...]
    """What every figure can be narrowed to: label, name in the address, values."""
    narrowed: str
    """To what the figures are narrowed, in words; empty: not."""
    months_over: tuple[tuple[str, str], ...]
    """Months that a report can be opened for, newest first."""
    drift: str
    """What the chart by month or quarter shows, in one sentence."""
    trend_words: str
    chart: pd.DataFrame
    """RATE_CHART with `label`, `provisional`, `not_over`, `completeness`, `expected_rate_per_1000`,
    `log_coverage`, `data` (how final it is) and `signal_words` (the signal), both in words."""
    gaps: tuple[Gaps, ...]
    """Of days, and of line-days."""
    by_group: pd.DataFrame
    """RATES with `name`, `log_coverage`, and `clustered_lower`, `clustered_upper`."""
    by_group_words: str
    two_groups: Compared
    two_periods: Compared
    funnel: pd.DataFrame
    """FUNNEL with `name` and `log_coverage`."""
    funnel_words: str
    bias: pd.DataFrame
    """LOGGING_BIAS of the programme; empty where the event does not depend on logging."""
    bias_words: str
