"""The command that shows the policy or checks one."""

from __future__ import annotations

import getpass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import typer

from analysis.cli.opening import opened
from analysis.cli.options.files import PolicySettings
from analysis.cli.output import show
from analysis.errors import UsageError
from analysis.policy import Policy, load_policy, read_text
from analysis.store import Store, StoreError


def policy_settings(asked: PolicySettings) -> None:
    """Show every setting with its source, set the store's policy, or check a policy file."""
    if asked.set_file:
        _set(asked, asked.set_file)
        return
    if asked.redate:
        raise UsageError("--redate goes with --set FILE.")
    read = load_policy(asked.check) if asked.check else _shown(asked)
    if asked.check:
        typer.echo(f"{asked.check}: a policy with {len(read.editions)} editions; nothing is wrong.")
        return
    show(policy_table(read), asked)


def _set(asked: PolicySettings, file: Path) -> None:
    """Make a file the policy of the store."""
    with opened(asked.store, create=True) as store:
        moved = store.set_policy(
            read_text(file),
            str(file.absolute()),
            getpass.getuser(),
            datetime.now(UTC),
            redate=asked.redate,
        )
        zone = store.policy_for(None).time_zone
    typer.echo(f"linedays: {file} is now the policy of the store; days are counted in {zone}.")
    if moved:
        typer.echo(
            f"linedays: {moved} moments are now on another day. A moment that was sent without an offset "
            "was read in the earlier time zone: send its file again."
        )


def _shown(asked: PolicySettings) -> Policy:
    """The policy of a file or of the store, else the shipped one; a note on who set it."""
    try:
        store = Store.open(asked.store, create=False)
    except StoreError:  # settings can be read before there is a store
        return load_policy(asked.policy)
    with store:
        policy, every = store.policy_for(asked.policy), store.policies()
    if len(every) and not asked.policy:
        last = every.iloc[-1]
        typer.echo(
            f"linedays: set by {last['made_by']} on {last['made_at']:%Y-%m-%d %H:%M} UTC from "
            f"{last['policy_file']}; days are counted in {last['time_zone']}.",
            err=True,
        )
    return policy


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
