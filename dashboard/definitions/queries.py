"""What does the policy edition in force say, number by number, with its sources?"""

from __future__ import annotations

from dataclasses import fields

from analysis.definitions import DEFINITIONS
from analysis.policy import Edition
from dashboard.definitions.views import PolicyView, Quantity, Rule
from dashboard.layout.words import plain
from dashboard.security.roles import Page
from dashboard.session.session import Session
from dashboard.session.views import PageContext


class DefinitionsQueries:
    """Questions of the page of definitions, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.DEFINITIONS)
        self.session = session

    def policy(self) -> PolicyView:
        """The edition in force on the as-of day, with the source of every number."""
        return policy_view(self.session.snapshot().edition, self.session.context())


def policy_view(edition: Edition, context: PageContext) -> PolicyView:
    """Intervals, thresholds and finding codes of an edition in words."""
    return PolicyView(
        context=context,
        effective_from=edition.effective_from,
        intervals=tuple(
            Rule(
                ", ".join(plain(str(p)) for p in (r.task, r.dressing_type, r.line_type) if p),
                "never by the calendar" if r.days is None else f"every {r.days} days",
                r.source,
            )
            for r in edition.intervals
        ),
        settings=tuple(
            Rule(
                str(f.metadata["meaning"]),
                f"{_shown(getattr(edition.settings, f.name))} {f.metadata['unit']}",
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
                d.key, d.title, d.words, d.unit, d.source, d.example.words, _told(d.example.answer)
            )
            for d in DEFINITIONS
        ),
    )


def _told(answer: object) -> str:
    return ", ".join(str(a) for a in answer) if isinstance(answer, tuple) else str(answer)


def _shown(value: object) -> str:
    return ", ".join(str(v) for v in value) if isinstance(value, tuple) else f"{value:g}"
