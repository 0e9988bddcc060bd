"""Which stored rows are shown with the reasons of a family?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.snapshot import Snapshot
from analysis.store import Store
from dashboard.call_state.views import ReasonView
from dashboard.calls.views import ReasonWithRows
from dashboard.evidence.queries import MOST_SOURCES, sources_of
from dashboard.security.roles import Reader


def with_rows(
    reasons: Sequence[ReasonView], store: Store, found: Snapshot, reader: Reader
) -> tuple[ReasonWithRows, ...]:
    """Reasons with the rows that prove them, read from the store."""
    wanted = [row for reason in reasons for row in reason.proof[-MOST_SOURCES:]]
    sources = sources_of(wanted, store, found, reader)
    return tuple(
        ReasonWithRows(
            reason,
            tuple(sources[r] for r in reason.proof[-MOST_SOURCES:] if r in sources),
            max(0, len(reason.proof) - MOST_SOURCES),
        )
        for reason in reasons
    )
