"""Commands that look at a store and print a table."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import pandas as pd
import typer

from analysis.cli.options import (
    DEFAULT_STORE,
    AsOfOption,
    ForceOption,
    FormatOption,
    KnownAtOption,
    OutOption,
    PolicyOption,
    StoreOption,
    snapshot,
)
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
from analysis.measures import adherence, line_table
from analysis.policy import Policy, load_policy
from analysis.vocabulary import Band, Grouping, Task

ByOption = Annotated[Grouping, typer.Option("--by", help="How to split.")]
TaskOption = Annotated[Task, typer.Option("--task", help="Care task.")]


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("lines")(lines)
    app.command("adherence")(adherence_)
    app.command("calls")(calls)
    app.command("policy")(policy_)


def lines(
    task: TaskOption = Task.DRESSING,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """One row a line: home line-days, in date or not, state on the day."""
    show(
        line_table(snapshot(store, policy, as_of, known_at).timeline, task), form, out, force=force
    )


def adherence_(
    by: ByOption = Grouping.ALL,
    task: TaskOption = Task.DRESSING,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """How often care was on time and in date, with 95 % limits that resample families."""
    show(
        adherence(snapshot(store, policy, as_of, known_at).tallies, by, task),
        form,
        out,
        force=force,
    )


class CallTable(StrEnum):
    """Which table of the day's calls."""

    LIST = "list"
    """Families to call and families that wait."""
    DONE = "done"
    """Calls recorded on the day."""
    ARRANGED = "arranged"
    """Who makes the next call, and until when families are set aside."""


def calls(
    table: Annotated[
        CallTable,
        typer.Option(
            "--show",
            help="list: whom to call; done: calls recorded on the day; arranged: who makes the next "
            "call, and until when families are set aside.",
        ),
    ] = CallTable.LIST,
    band: Annotated[Band | None, typer.Option("--band", help="Of this band only.")] = None,
    site: Annotated[str | None, typer.Option("--site", help="Of this site only.")] = None,
    nurse: Annotated[str | None, typer.Option("--nurse", help="Of this nurse only.")] = None,
    language: Annotated[
        str | None, typer.Option("--language", help="Called in this language only.")
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Families to call, in calling order, and why; families waiting after a call come last."""
    seen = snapshot(store, policy, as_of, known_at)
    asked = Asked(band, site, nurse, language)
    if table is CallTable.DONE:
        done = calls_done(seen.calls, seen.timeline, seen.records, asked)
        show(printed_done(done), form, out, force=force)
        return
    if table is CallTable.ARRANGED:
        arranged = arrangements_in_force(seen.calls, seen.records)
        show(arranged.drop(columns=["row", "made_at"]), form, out, force=force)
        return
    show(printed(families_asked(seen.calls, seen.records, asked)), form, out, force=force)
    typer.echo(f"linedays: {seen.calls.order}", err=True)
    room = daily_capacity(seen.calls, seen.timeline, seen.records, seen.edition.settings, asked)
    typer.echo(f"linedays: {capacity_sentence(room)}", err=True)


def policy_(
    policy: PolicyOption = None,
    check: Annotated[
        Path | None, typer.Option("--check", help="Check a policy file and say what is wrong.")
    ] = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Print every setting in force with its source, or check a policy file."""
    read = load_policy(check or policy)
    if check:
        typer.echo(f"{check}: a policy with {len(read.editions)} editions; nothing is wrong.")
        return
    show(policy_table(read), form, out, force=force)


def policy_table(policy: Policy) -> pd.DataFrame:
    """One row a setting, interval or code of every edition, with its source."""
    rows: list[tuple[str, str, str, str, str]] = []
    for edition in policy.editions:
        start = edition.effective_from.isoformat()
        for name, source in edition.setting_sources.items():
            value = getattr(edition.settings, name)
            shown = " ".join(map(str, value)) if isinstance(value, tuple) else str(value)
            rows.append((edition.version, start, name, shown, source))
        for rule in edition.intervals:
            where = [str(w) for w in (rule.dressing_type, rule.line_type) if w]
            name = " ".join(["interval_days", str(rule.task), *where])
            shown = "none" if rule.days is None else str(rule.days)
            rows.append((edition.version, start, name, shown, rule.source))
        for finding in edition.findings.values():
            shown = " ".join(sorted(finding.marks))
            rows.append((edition.version, start, f"finding {finding.code}", shown, finding.source))
        rows += [
            (edition.version, start, f"step {step.code}", step.label, step.source)
            for step in edition.steps.values()
        ]
    columns = ["edition", "effective_from", "setting", "value", "source"]
    return pd.DataFrame(rows, columns=columns, dtype="string")
