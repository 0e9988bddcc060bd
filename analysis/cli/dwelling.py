"""Commands on how long lines stay in place."""

from __future__ import annotations

import typer

from analysis.cli.opening import snapshot
from analysis.cli.options.rates import Dwell, DwellCompare, DwellOverdue, Removal
from analysis.cli.output import show
from analysis.cli.partitioned import curves_asked


def dwell_table(asked: Dwell) -> None:
    """Show lines in place by day since placement."""
    if asked.compare_groups:
        dwell_comparison(asked)
        return
    found = curves_asked(asked)
    show(found.curves, asked)
    readings = found.summary["group"].fillna("not recorded") + ": " + found.summary["reading"]
    for sentence in readings:
        typer.echo(f"linedays: {sentence}.", err=True)
    if without_time := found.summary["without_time"].sum():
        typer.echo(
            f"linedays: {without_time} lines ended on the day they came home and have no time at "
            "risk.",
            err=True,
        )


def dwell_comparison(asked: Dwell | DwellCompare) -> None:
    """Test whether groups differ."""
    from analysis.measures.dwell import compare_dwell  # tests and verdicts take long to load
    from analysis.verdicts import logrank_verdict

    seen = snapshot(asked)
    only = asked.event is Removal.UNPLANNED
    found = compare_dwell(seen.timeline, seen.records, asked.by, unplanned_only=only)
    show(found, asked)
    of = "unplanned removal" if only else "any removal"
    typer.echo(f"linedays: {logrank_verdict(found, of, asked.by).sentence}", err=True)


def dwell_overdue(asked: DwellOverdue) -> None:
    """Show the hazard ratio of removal while out of date."""
    from analysis.measures.overdue_hazard import overdue_hazard  # takes long to load
    from analysis.verdicts import hazard_verdict

    seen = snapshot(asked)
    found = overdue_hazard(seen.timeline, seen.records)
    show(found, asked)
    typer.echo(f"linedays: {hazard_verdict(found).sentence}", err=True)
