"""Which intervals, thresholds and findings does the policy in force set, and from which source?"""

from __future__ import annotations

from dataclasses import fields

from analysis.definitions import DEFINITIONS
from analysis.policy import Edition
from dashboard.definitions.views import PolicyView, Quantity, Rule
from dashboard.layout.words import counted, percent, plain
from dashboard.security.roles import Page
from dashboard.session.session import Session


class DefinitionsQueries:
    """Questions of the page of definitions, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.DEFINITIONS)
        self.session = session

    def policy(self) -> PolicyView:
        """The policy version in force on the as-of day, with the source of every number."""
        return policy_view(self.session.snapshot().edition, self.session.context().policy)


def policy_view(edition: Edition, name: str) -> PolicyView:
    """Intervals, thresholds and finding codes of an edition in words."""
    return PolicyView(
        policy=f"{name}, version {edition.version}",
        effective_from=edition.effective_from,
        intervals=tuple(
            Rule(
                ", ".join(plain(str(p)) for p in (r.task, r.dressing_type, r.line_type) if p),
                "never on a schedule"
                if r.days is None
                else f"every {counted(r.days, 'day', 'days')}",
                r.source,
            )
            for r in edition.intervals
        ),
        settings=tuple(
            Rule(
                str(f.metadata["meaning"]),
                _measured(getattr(edition.settings, f.name), str(f.metadata["unit"])),
                edition.setting_sources[f.name],
            )
            for f in fields(edition.settings)
        ),
        findings=tuple(
            Rule(f.label, ", ".join(sorted(plain(str(m)) for m in f.marks)), f.source)
            for f in edition.findings.values()
        ),
        quantities=tuple(
            Quantity(
                d.key,
                d.title,
                d.words,
                d.unit,
                d.source,
                d.example.words,
                _answer(d.example.answer),
            )
            for d in DEFINITIONS
        ),
    )


def _answer(answer: object) -> str:
    return ", ".join(str(a) for a in answer) if isinstance(answer, tuple) else str(answer)


def _measured(value: object, unit: str) -> str:
    """A value of the policy with its unit.

    Examples
    --------
    >>> _measured(1, "days"), _measured(0.75, "share"), _measured((0, 1, 5), "years")
    ('1 day', '75 %', '0, 1, 5 years')
    """
    if unit == "share" and isinstance(value, float):
        return percent(value)
    if isinstance(value, tuple):
        return f"{', '.join(str(v) for v in value)} {unit}"
    return f"{value:g} {unit.removesuffix('s') if value == 1 else unit}"
