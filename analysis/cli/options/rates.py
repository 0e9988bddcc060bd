"""Options of the commands on rates of harm, and on how long lines stay."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

import typer

from analysis.cli.options.shared import Reading
from analysis.vocabulary import Basis, ChartKind, Grouping, Limits


class Period(StrEnum):
    """Length of a period."""

    MONTH = str(Grouping.MONTH)
    QUARTER = str(Grouping.QUARTER)


class Removal(StrEnum):
    """Which removals."""

    ANY = "any"
    UNPLANNED = "unplanned"


LimitsOption = Annotated[Limits, typer.Option("--limits", help="Kind of 95 % limits.")]
By = Annotated[Grouping, typer.Option("--by", help="How to split.")]


@dataclass(frozen=True, kw_only=True)
class OfEvent(Reading):
    """An event."""

    event: Annotated[
        str, typer.Option("--event", help="'skin', a finding code of the policy or an outcome.")
    ]


@dataclass(frozen=True, kw_only=True)
class Counted(OfEvent):
    """An event, and what its days are counted on."""

    basis: Annotated[
        Basis | None,
        typer.Option(
            "--basis",
            help="Count every line's days, or a child's day once "
            "[default: child for bloodstream_infection, else line]",
        ),
    ] = None


@dataclass(frozen=True, kw_only=True)
class Rates(Counted):
    """Events per 1000 home line-days with 95 % limits. Not an NHSN rate."""

    by: By = Grouping.ALL
    limits: LimitsOption = Limits.EXACT
    hide_small: Annotated[
        bool,
        typer.Option("--hide-small", help="For outside the team: hide counts from 1 to 10."),
    ] = False


@dataclass(frozen=True, kw_only=True)
class RatesTrend(Counted):
    """Ratio of rates from one period to the next, with errors clustered by family."""

    by: Annotated[Period, typer.Option("--by", help="Length of a period.")] = Period.MONTH


@dataclass(frozen=True, kw_only=True)
class RatesStandardised(Counted):
    """Events observed over events expected, adjusted for line type and age."""

    by: By = Grouping.SITE


@dataclass(frozen=True, kw_only=True)
class RatesFamilies(Counted):
    """The rate of each family, adjusted towards the programme average."""


@dataclass(frozen=True, kw_only=True)
class RatesProvisional(Counted):
    """Rates of recent periods with the late reports still expected."""

    by: Annotated[Period, typer.Option("--by", help="Length of a period.")] = Period.MONTH


@dataclass(frozen=True, kw_only=True)
class RatesLogging(OfEvent):
    """Rates of families that log well, and what missing logs could hide."""

    by: By = Grouping.ALL


@dataclass(frozen=True, kw_only=True)
class Compare(Counted):
    """Ratio of two rates, first over second, with 95 % limits.

    Two rows: events taken as independent, and errors clustered by family. Trust the second where
    a few families have several of the events.
    """

    by: Annotated[Grouping, typer.Option("--by", help="What the two groups are values of.")]
    first: Annotated[
        str | None,
        typer.Option("--first", help="Group, or range of periods as 2031-01..2031-06."),
    ] = None
    second: Annotated[str | None, typer.Option("--second", help="The other group.")] = None
    limits: LimitsOption = Limits.EXACT


@dataclass(frozen=True, kw_only=True)
class Chart(Counted):
    """Control chart with exact limits. Recent periods rise as late reports come in."""

    by: Annotated[Grouping, typer.Option("--by", help="month or quarter.")] = Grouping.MONTH
    kind: Annotated[
        ChartKind,
        typer.Option("--kind", help="u: rate; t: days and g: line-days between events."),
    ] = ChartKind.U
    baseline: Annotated[
        int | None,
        typer.Option(
            "--baseline", min=2, help="Centre from this many first points [default: all]."
        ),
    ] = None


@dataclass(frozen=True, kw_only=True)
class Funnel(Counted):
    """Rate of each group against the rate of all, with 95 and 99.8 % limits."""

    by: Annotated[Grouping, typer.Option("--by", help="site or nurse.")] = Grouping.SITE
    allow_for_differences: Annotated[
        bool,
        typer.Option(
            "--allow-for-differences", help="Widen the limits by differences beyond chance."
        ),
    ] = False


@dataclass(frozen=True, kw_only=True)
class Dwell(Reading):
    """How long lines stay in place and how many end unplanned, by day since placement."""

    by: By = Grouping.ALL
    compare_groups: Annotated[bool, typer.Option("--compare", hidden=True)] = False
    """Earlier spelling of ``dwell compare``."""
    event: Annotated[Removal, typer.Option("--event", hidden=True)] = Removal.ANY


@dataclass(frozen=True, kw_only=True)
class DwellCompare(Reading):
    """Log-rank test of removal between groups, with lines that enter late."""

    by: By
    event: Annotated[
        Removal, typer.Option("--event", help="Any removal, or unplanned ones only.")
    ] = Removal.ANY


@dataclass(frozen=True, kw_only=True)
class DwellOverdue(Reading):
    """Hazard ratio of unplanned removal while the dressing is out of date."""
