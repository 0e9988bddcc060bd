"""Commands on the calls of a day."""

from __future__ import annotations

import typer

from analysis.cli.nearest import check_known
from analysis.cli.opening import snapshot
from analysis.cli.options.lists import Calls, CallsArranged, CallsDone, Chosen
from analysis.cli.output import show
from analysis.decisions.asked import (
    Asked,
    arrangements_in_force,
    calls_done,
    families_asked,
    printed,
    printed_done,
)
from analysis.decisions.daily_capacity import daily_capacity
from analysis.decisions.sentences import capacity_sentence
from analysis.tables import Records
from analysis.vocabulary import Band


def calls(asked: Calls) -> None:
    """List the families to call."""
    seen = snapshot(asked)
    _check(asked, seen.records)
    band = None if asked.band is None else Band(str(asked.band))
    chosen = Asked(band, asked.site, asked.nurse, asked.language)
    show(printed(families_asked(seen.calls, seen.records, chosen)), asked)
    typer.echo(f"linedays: {seen.calls.order}", err=True)
    capacity = daily_capacity(
        seen.calls, seen.timeline, seen.records, seen.edition.settings, chosen
    )
    typer.echo(f"linedays: {capacity_sentence(capacity)}", err=True)


def _check(asked: Chosen, records: Records) -> None:
    """Refuse a site, nurse or language that no row has."""
    lines, assigned = records.lines, records.arrangements["assigned_to"]
    for what, given, columns in (
        ("site", asked.site, [lines["site"]]),
        ("nurse", asked.nurse, [lines["nurse"], assigned]),
        ("language", asked.language, [lines["language"]]),
    ):
        if given is not None:
            check_known(what, [given], [word for column in columns for word in column.unique()])


def done(asked: CallsDone) -> None:
    """List the calls recorded on the day."""
    seen = snapshot(asked)
    _check(asked, seen.records)
    chosen = Asked(None, asked.site, asked.nurse, asked.language)
    show(printed_done(calls_done(seen.calls, seen.timeline, seen.records, chosen)), asked)


def arranged(asked: CallsArranged) -> None:
    """List the arrangements in force."""
    seen = snapshot(asked)
    found = arrangements_in_force(seen.calls, seen.records)
    show(found.drop(columns=["row", "made_at"]), asked)
