"""The command that writes partitions, and what commands show that read them instead of a store."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import typer

from analysis.cli.opening import opened, snapshot, today
from analysis.cli.options.files import ExportPartitions
from analysis.cli.options.lists import Adherence, Lines
from analysis.cli.options.rates import Dwell, Rates
from analysis.cli.options.shared import Partitioned
from analysis.cli.people import note_export
from analysis.errors import UsageError
from analysis.measures.lines import line_table
from analysis.policy import load_policy
from analysis.snapshot import end_of_day
from analysis.tallies import Tallies

if TYPE_CHECKING:
    from analysis.measures.dwell import Dwell as Curves


def export_partitions(asked: ExportPartitions) -> None:
    """Write the records in parts with whole families."""
    from analysis.partitions import write_partitions

    with opened(asked.store) as store:
        policy = store.policy_for(None)
        moment = end_of_day(asked.known_at or today(policy), policy)
        note_export(store, "partitions")
        text = store.policy_text()
        with store.streamed(moment) as found:
            made = write_partitions(
                asked.write, found.without_log, found.log, found.later, moment, text, asked.parts
            )
    typer.echo(
        f"linedays: {len(made.parts)} parts are in {asked.write}, as known at the end of "
        f"{moment.astimezone(policy.zone).date()}. Read them with --partitions {asked.write}.",
        err=True,
    )


def tallies_asked(asked: Adherence | Rates) -> Tallies:
    """Counts of the store, or of partitions."""
    if not _in_parts(asked):
        return snapshot(asked).tallies
    from analysis.partitions import tallies_of_parts

    return _shown(asked, tallies_of_parts)


def lines_asked(asked: Lines) -> pd.DataFrame:
    """One row a line of the store, or of partitions."""
    if not _in_parts(asked):
        return line_table(snapshot(asked).timeline, asked.task)
    from analysis.partitions import lines_of_parts

    return _shown(asked, lines_of_parts, asked.task)


def curves_asked(asked: Dwell) -> Curves:
    """Curves of the store, or of partitions."""
    if not _in_parts(asked):
        from analysis.measures.dwell import dwell  # takes long to load

        seen = snapshot(asked)
        return dwell(seen.timeline, seen.records, asked.by)
    from analysis.partitions import curves_of_parts

    return _shown(asked, curves_of_parts, asked.by)


def _in_parts(asked: Partitioned) -> bool:
    if asked.partitions is not None:
        return True
    if asked.processes > 1 or asked.cluster is not None:
        raise UsageError(
            "--processes and --cluster calculate parts: name a folder in --partitions, written by "
            "linedays export partitions."
        )
    return False


def _shown(asked: Partitioned, of_parts: Callable[..., Any], *further: object) -> Any:
    """Calculate the parts where it was asked, show the caveats, and return what they give."""
    from analysis import partitions as parted

    found = parted.opened(asked.partitions or Path())
    known_on = found.known_at.astimezone(found.policy.zone).date()
    if asked.known_at is not None:
        raise UsageError(
            f"{asked.partitions} has what was known at the end of {known_on}. Leave out --known-at, "
            "or write other partitions with it."
        )
    policy = load_policy(asked.policy) if asked.policy is not None else found.policy
    if policy.time_zone != found.policy.time_zone:
        raise UsageError(
            f"{asked.policy} has another time zone ({policy.time_zone}) than the days of the "
            f"partitions ({found.policy.time_zone})."
        )
    if asked.cluster is not None:
        run = parted.on_cluster(asked.cluster)
    else:
        run = parted.in_processes(asked.processes) if asked.processes > 1 else parted.in_turn
    as_of = asked.as_of or known_on
    joined = of_parts(found, as_of, run, *further, policy=policy)
    for sentence in parted.sentences_of_parts(found, joined.log_days, as_of):
        typer.echo(f"linedays: {sentence}", err=True)
    return joined.value
