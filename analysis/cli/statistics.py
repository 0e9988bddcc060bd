"""Commands on rates of harm: how high, compared, charted; and on how long lines stay."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from analysis.cli.options import (
    DEFAULT_STORE,
    AsOfOption,
    BasisOption,
    EventOption,
    ForceOption,
    FormatOption,
    KnownAtOption,
    LimitsOption,
    OutOption,
    PolicyOption,
    StoreOption,
    snapshot,
)
from analysis.cli.output import show
from analysis.measures import (
    LEAGUE_TABLE_CAUTION,
    ChartKind,
    Limits,
    MeasureError,
    compare,
    compare_dwell,
    dwell,
    family_rates,
    for_release,
    gap_chart,
    group_funnel,
    logging_bias,
    overdue_hazard,
    provisional_rates,
    rate_chart,
    rates,
    settled_tallies,
    standardised,
    trend,
    usual_basis,
)
from analysis.vocabulary import Grouping

ANY, UNPLANNED = "any", "unplanned"


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("rates")(rates_)
    app.command("compare")(compare_)
    app.command("chart")(chart)
    app.command("funnel")(funnel)
    app.command("dwell")(dwell_)


class Show(StrEnum):
    """Which table of rates."""

    PLAIN = "plain"
    """Events, line-days, rate and limits."""
    TREND = "trend"
    """Ratio from period to period, errors clustered by family."""
    STANDARDISED = "standardised"
    """Observed over expected, line type and age band allowed for."""
    SHRUNK = "shrunk"
    """Each family's rate drawn toward the programme's."""
    PROVISIONAL = "provisional"
    """With what is still to come of recent periods."""
    LOGGING = "logging"
    """Of well-logging families, and what silence could hide."""


STRATA = (Grouping.LINE_TYPE, Grouping.AGE_BAND)
"""What a standardised ratio allows for."""


def rates_(
    event: EventOption,
    by: Annotated[Grouping, typer.Option("--by", help="How to split.")] = Grouping.ALL,
    basis: BasisOption = None,
    limits: LimitsOption = Limits.EXACT,
    table: Annotated[
        Show,
        typer.Option(
            "--show",
            help="plain rates; trend by period; standardised for line type and age; shrunk by "
            "family; provisional with late reports to come; logging: what silence could hide.",
        ),
    ] = Show.PLAIN,
    hide_small: Annotated[
        bool,
        typer.Option("--hide-small", help="For outside the team: hide counts from 1 to 10."),
    ] = False,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Events per 1000 home line-days with 95 % limits. Not an NHSN rate."""
    if hide_small and table is not Show.PLAIN:
        raise MeasureError("--hide-small goes with --show plain; the other tables stay inside.")
    seen = snapshot(store, policy, as_of, known_at)
    on = basis or usual_basis(event)
    if table is Show.PLAIN:
        found = rates(seen.tallies, event, by, on, limits)
        found = for_release(found) if hide_small else found
    elif table is Show.TREND:
        period = Grouping.MONTH if by is Grouping.ALL else by
        found = trend(settled_tallies(seen, event), event, period, on)
    elif table is Show.STANDARDISED:
        group = Grouping.SITE if by is Grouping.ALL else by
        found = standardised(settled_tallies(seen, event), event, group, STRATA, on)
    elif table is Show.SHRUNK:
        found = family_rates(seen.tallies, event, on)
    elif table is Show.PROVISIONAL:
        period = Grouping.MONTH if by is Grouping.ALL else by
        found = provisional_rates(seen, event, period, on)
    else:
        gap = seen.edition.settings.episode_gap_days
        found = logging_bias(seen.tallies, event, by, gap)
    show(found, form, out, force=force)


def compare_(
    event: EventOption,
    by: Annotated[Grouping, typer.Option("--by", help="What the two groups are values of.")],
    first: Annotated[
        str | None,
        typer.Option("--first", help="Group, or span of periods as 2031-01..2031-06."),
    ] = None,
    second: Annotated[str | None, typer.Option("--second", help="The other group.")] = None,
    basis: BasisOption = None,
    limits: LimitsOption = Limits.EXACT,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Ratio of two rates, first over second, with 95 % limits.

    Two rows: events taken as independent, and errors clustered by family. Trust the second where
    a few families have several of the events.
    """
    tallies = settled_tallies(snapshot(store, policy, as_of, known_at), event)
    found = compare(tallies, event, by, basis or usual_basis(event), limits, first, second)
    show(found, form, out, force=force)


def chart(
    event: EventOption,
    by: Annotated[Grouping, typer.Option("--by", help="month or quarter.")] = Grouping.MONTH,
    kind: Annotated[
        ChartKind,
        typer.Option("--kind", help="u: rate; t: days and g: line-days between events."),
    ] = ChartKind.U,
    baseline: Annotated[
        int | None,
        typer.Option(
            "--baseline", min=2, help="Centre from the first so many points [default: all]."
        ),
    ] = None,
    basis: BasisOption = None,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Control chart with exact limits. Recent periods rise as late reports come in."""
    seen = snapshot(store, policy, as_of, known_at)
    on = basis or usual_basis(event)
    if kind is ChartKind.U:
        found = rate_chart(seen, event, by, on, baseline)
    else:
        found = gap_chart(seen.timeline, seen.tallies, event, on, kind, baseline)
    show(found, form, out, force=force)


def funnel(
    event: EventOption,
    by: Annotated[Grouping, typer.Option("--by", help="site or nurse.")] = Grouping.SITE,
    allow_for_differences: Annotated[
        bool,
        typer.Option(
            "--allow-for-differences", help="Widen the limits by differences beyond chance."
        ),
    ] = False,
    basis: BasisOption = None,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Rate of each group against the rate of all, with 95 and 99.8 % limits."""
    tallies = settled_tallies(snapshot(store, policy, as_of, known_at), event)
    found = group_funnel(
        tallies,
        event,
        by,
        basis or usual_basis(event),
        allow_for_differences=allow_for_differences,
    )
    show(found, form, out, force=force)
    typer.echo(f"linedays: {LEAGUE_TABLE_CAUTION}", err=True)


def dwell_(
    by: Annotated[Grouping, typer.Option("--by", help="How to split.")] = Grouping.ALL,
    compare_groups: Annotated[
        bool, typer.Option("--compare", help="Log-rank test between the groups.")
    ] = False,
    hazard: Annotated[
        bool,
        typer.Option("--hazard", help="Unplanned removal while the dressing is out of date."),
    ] = False,
    event: Annotated[
        str, typer.Option("--event", help="With --compare: 'any' removal or 'unplanned' only.")
    ] = ANY,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """How long lines stay in place and how many end unplanned, by day since placement."""
    if event not in (ANY, UNPLANNED):
        raise MeasureError(f"event {event!r} is neither 'any' nor 'unplanned'.")
    seen = snapshot(store, policy, as_of, known_at)
    if compare_groups:
        only = event == UNPLANNED
        show(
            compare_dwell(seen.timeline, seen.records, by, unplanned_only=only),
            form,
            out,
            force=force,
        )
        typer.echo(
            "linedays: the test takes lines as independent; where families have several lines "
            "its p is too small.",
            err=True,
        )
        return
    if hazard:
        show(overdue_hazard(seen.timeline, seen.records), form, out, force=force)
        return
    found = dwell(seen.timeline, seen.records, by)
    show(found.curves, form, out, force=force)
    told = found.summary["group"].fillna("not recorded") + ": " + found.summary["reading"]
    aside = found.summary["without_time"].sum()
    for sentence in told:
        typer.echo(f"linedays: {sentence}.", err=True)
    if aside:
        typer.echo(
            f"linedays: {aside} lines ended on the day they came home and have no time at risk.",
            err=True,
        )
