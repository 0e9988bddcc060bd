"""Options of the commands on rates of harm, and on how long lines stay."""

from __future__ import annotations

from enum import StrEnum

from analysis.cli.options.declared import command, flag, option, options, required
from analysis.cli.options.shared import Partitioned, Reading
from analysis.vocabulary import Basis, ChartKind, Grouping, Limits


class Period(StrEnum):
    """Length of a period."""

    MONTH = str(Grouping.MONTH)
    QUARTER = str(Grouping.QUARTER)


class Removal(StrEnum):
    """Which removals."""

    ANY = "any"
    UNPLANNED = "unplanned"


@options
class OfEvent(Reading):
    """An event."""

    event: str = required("'skin', a finding code of the policy or an outcome.")


@options
class Counted(OfEvent):
    """An event, and what its days are counted on."""

    basis: Basis | None = option(
        "Count every line's days, or a child's day once "
        "[default: child for bloodstream_infection, else line]"
    )


@command("rates", "statistics:rates_table")
class Rates(Counted, Partitioned):
    """Events per 1000 home line-days with 95 % limits. Not an NHSN rate."""

    by: Grouping = option("How to split.", default=Grouping.ALL)
    limits: Limits = option("Kind of 95 % limits.", default=Limits.EXACT)
    hide_small: bool = flag("For outside the team: hide counts from 1 to 10.")


@command("rates trend", "statistics:rates_trend")
class RatesTrend(Counted):
    """Ratio of rates from one period to the next, with errors clustered by family."""

    by: Period = option("Length of a period.", default=Period.MONTH)


@command("rates standardised", "statistics:rates_standardised")
class RatesStandardised(Counted):
    """Events observed over events expected, adjusted for line type and age."""

    by: Grouping = option("How to split.", default=Grouping.SITE)


@command("rates families", "statistics:rates_families")
class RatesFamilies(Counted):
    """The rate of each family, adjusted towards the programme average."""


@command("rates provisional", "statistics:rates_provisional")
class RatesProvisional(Counted):
    """Rates of recent periods with the late reports still expected."""

    by: Period = option("Length of a period.", default=Period.MONTH)


@command("rates logging", "statistics:rates_logging")
class RatesLogging(OfEvent):
    """Rates of families that log well, and what missing logs could hide."""

    by: Grouping = option("How to split.", default=Grouping.ALL)


@command("compare", "statistics:comparison")
class Compare(Counted):
    """Ratio of two rates, first over second, with 95 % limits.

    Two rows: events taken as independent, and errors clustered by family. Trust the second where
    a few families have several of the events.
    """

    by: Grouping = required("What the two groups are values of.")
    first: str | None = option("Group, or range of periods as 2031-01..2031-06.")
    second: str | None = option("The other group.")
    limits: Limits = option("Kind of 95 % limits.", default=Limits.EXACT)


@command("chart", "statistics:chart")
class Chart(Counted):
    """Control chart with exact limits. Recent periods rise as late reports come in."""

    by: Grouping = option("month or quarter.", default=Grouping.MONTH)
    kind: ChartKind = option(
        "u: rate; t: days and g: line-days between events.", default=ChartKind.U
    )
    baseline: int | None = option("Centre from this many first points [default: all].", min=2)


@command("funnel", "statistics:funnel")
class Funnel(Counted):
    """Rate of each group against the rate of all, with 95 and 99.8 % limits."""

    by: Grouping = option("site or nurse.", default=Grouping.SITE)
    allow_for_differences: bool = flag("Widen the limits by differences beyond chance.")


@command("signals", "statistics:signals")
class Signals(Reading):
    """Has a rate risen, at which site, since when: open signals, then every event and site."""

    event: str | None = option("'skin' or an outcome [default: all of them].")


@command("dwell", "dwelling:dwell_table")
class Dwell(Partitioned):
    """How long lines stay in place and how many end unplanned, by day since placement."""

    by: Grouping = option("How to split.", default=Grouping.ALL)
    compare_groups: bool = flag("", name="compare", hidden=True)
    """Earlier spelling of ``dwell compare``."""
    event: Removal = option("", hidden=True, default=Removal.ANY)


@command("dwell compare", "dwelling:dwell_comparison")
class DwellCompare(Reading):
    """Log-rank test of removal between groups, with lines that enter late."""

    by: Grouping = required("How to split.")
    event: Removal = option("Any removal, or unplanned ones only.", default=Removal.ANY)


@command("dwell overdue", "dwelling:dwell_overdue")
class DwellOverdue(Reading):
    """Hazard ratio of unplanned removal while the dressing is out of date."""
