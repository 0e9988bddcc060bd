"""What became of files that were imported on the page?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

import pandas as pd

from analysis.ingest import IngestSummary, Profile
from analysis.snapshot import Snapshot
from dashboard.incoming.queries.received import as_shown
from dashboard.incoming.views import Counts, TakenIn
from dashboard.session.forms import FormError
from dashboard.session.views import PageContext

MOST_SHOWN = 20
"""Rows refused now that are shown at once; the others are on the list."""


def profile_of(source: str | None, profiles: Mapping[str, Profile]) -> Profile | None:
    """The source profile that was chosen; None: our own form.

    Raises
    ------
    FormError
        There is none of this name.
    """
    if not source:
        return None
    if source not in profiles:
        raise FormError("There is no such source. Choose one from the list.")
    return profiles[source]


def taken_in(
    summary: IngestSummary, refused: pd.DataFrame, found: Snapshot, context: PageContext
) -> TakenIn:
    """The command's summary, and the rows that were refused now."""
    return TakenIn(
        context=context,
        counts=tuple(Counts(**asdict(count)) for count in summary.tables),
        faults=tuple(str(fault) for fault in summary.faults),
        notes=summary.notes,
        refused=as_shown(refused.head(MOST_SHOWN), found, sees=True),
        refused_left=max(0, len(refused) - MOST_SHOWN),
    )
