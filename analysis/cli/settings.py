"""The command that shows the policy or checks one."""

from __future__ import annotations

import pandas as pd
import typer

from analysis.cli.options.lists import PolicySettings
from analysis.cli.output import show
from analysis.policy import Policy, load_policy


def policy_settings(asked: PolicySettings) -> None:
    """Show every setting with its source, or check a policy file."""
    read = load_policy(asked.check or asked.policy)
    if asked.check:
        typer.echo(f"{asked.check}: a policy with {len(read.editions)} editions; nothing is wrong.")
        return
    show(policy_table(read), asked)


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
