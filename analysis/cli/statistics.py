"""Commands that compare rates, chart them, and look at dwell time."""

from __future__ import annotations

from typing import Annotated

import typer

from analysis.cli.options import (
    DEFAULT_STORE,
    AsOfOption,
    BasisOption,
    EventOption,
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
    gap_chart,
    group_funnel,
    rate_chart,
    usual_basis,
)
from analysis.vocabulary import Grouping

ANY, UNPLANNED = "any", "unplanned"


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("compare")(compare_)
    app.command("chart")(chart)
    app.command("funnel")(funnel)
    app.command("dwell")(dwell_)


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
) -> None:
    """Ratio of two rates, first over second, with 95 % limits."""
    tallies = snapshot(store, policy, as_of, known_at).tallies
    found = compare(tallies, event, by, basis or usual_basis(event), limits, first, second)
    show(found, form, out)


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
) -> None:
    """Control chart with exact limits. Recent periods rise as late reports come in."""
    seen = snapshot(store, policy, as_of, known_at)
    on = basis or usual_basis(event)
    if kind is ChartKind.U:
        found = rate_chart(seen.tallies, event, by, on, baseline)
    else:
        found = gap_chart(seen.timeline, seen.tallies, event, on, kind, baseline)
    show(found, form, out)


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
) -> None:
    """Rate of each group against the rate of all, with 95 and 99.8 % limits."""
    tallies = snapshot(store, policy, as_of, known_at).tallies
    found = group_funnel(
        tallies,
        event,
        by,
        basis or usual_basis(event),
        allow_for_differences=allow_for_differences,
    )
    show(found, form, out)
    typer.echo(f"linedays: {LEAGUE_TABLE_CAUTION}", err=True)


def dwell_(
    by: Annotated[Grouping, typer.Option("--by", help="How to split.")] = Grouping.ALL,
    compare_groups: Annotated[
        bool, typer.Option("--compare", help="Log-rank test between the groups.")
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
) -> None:
    """How long lines stay in place and how many end unplanned, by day since placement."""
    if event not in (ANY, UNPLANNED):
        raise MeasureError(f"event {event!r} is neither 'any' nor 'unplanned'.")
    seen = snapshot(store, policy, as_of, known_at)
    if compare_groups:
        only = event == UNPLANNED
        show(compare_dwell(seen.timeline, seen.records, by, unplanned_only=only), form, out)
        return
    found = dwell(seen.timeline, seen.records, by)
    show(found.curves, form, out)
    told = found.summary["group"].fillna("not recorded") + ": " + found.summary["reading"]
    aside = found.summary["without_time"].sum()
    for sentence in told:
        typer.echo(f"linedays: {sentence}.", err=True)
    if aside:
        typer.echo(
            f"linedays: {aside} lines ended on the day they came home and have no time at risk.",
            err=True,
        )
