"""What does the page of rates show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

from dashboard.addresses.rates import RatesChoice


@dataclass(frozen=True)
class Compared:
    """Two groups or spells: what they are called, their rates, their ratio, and its reading."""

    names: tuple[str, str]
    rates: pd.DataFrame
    """COMPARED_RATES with `name`, two rows."""
    ratios: pd.DataFrame
    """COMPARISON, two rows; empty when there is nothing to compare."""
    reading: str


@dataclass(frozen=True)
class Annotation:
    """What somebody wrote beside the rates: what happened, when and where."""

    row: int
    mark: str
    """Letter by which chart and table name it."""
    on: date
    site: str | None
    """None: all sites."""
    text: str
    made_by: str
    made_on: date


@dataclass(frozen=True)
class BesideRates:
    """What was written beside the rates, and where it stands on a chart."""

    annotations: tuple[Annotation, ...]
    """By day."""
    marks: pd.DataFrame
    """One row an annotation on the chart: `at` (periods from the first one's middle), `mark`,
    `text`."""


@dataclass(frozen=True)
class Annotating:
    """What a person who may write annotations chooses from."""

    sites: tuple[str, ...]
    """An empty one stands for all sites."""
    as_of: date


@dataclass(frozen=True)
class RatesView:
    """Rates of one event: over time, by group, compared, and how far logging bears on them."""

    choice: RatesChoice
    """As understood, the usual filled in."""
    events: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    """Events to choose from: a heading and its codes with their names."""
    event_name: str
    groups: tuple[tuple[str, str], ...]
    """Groups of the chosen split, as stored and as said."""
    periods: tuple[tuple[str, str], ...]
    """Settled periods from which a later spell may begin, newest first."""
    whole: pd.DataFrame
    """RATES of the programme with `log_coverage`: no row without line-days and events."""
    whole_words: str
    drift: str
    """Is the rate drifting? In one sentence."""
    trend_words: str
    chart: pd.DataFrame
    """CHART with `label`, `provisional`, `not_over`, `completeness`, `expected_rate_per_1000`, `log_coverage`
    and `said` (the signal in words)."""
    by_group: pd.DataFrame
    """RATES with `name`, `log_coverage`, and `clustered_lower`, `clustered_upper`."""
    by_group_words: str
    two_groups: Compared
    two_spells: Compared
    funnel: pd.DataFrame
    """FUNNEL with `name` and `log_coverage`."""
    funnel_words: str
    bias: pd.DataFrame
    """LOGGING_BIAS of the programme; empty where logging does not bear on the event."""
    bias_words: str
