"""How do files that were brought to a page go in, by the command line's own way?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime

import pandas as pd

from analysis.ingest import IngestSummary, LogFile, Profile, ingest
from analysis.policy import Policy
from analysis.snapshot import Snapshot
from analysis.store import Store, StoreError
from dashboard.incoming_views import Counts, TakenIn
from dashboard.queries.calls_made import FormError
from dashboard.queries.incoming import as_shown
from dashboard.views import Standing

PATIENCE_SECONDS = 10.0
"""How long a page waits for another writer; the command line waits longer."""
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


def take_in(
    store_url: str,
    files: Sequence[LogFile],
    policy: Policy,
    profile: Profile | None,
    at: datetime,
    who: str,
    table: str | None = None,
) -> IngestSummary:
    """Ingest files as received now, each whole or not at all; `table`: what each holds.

    Raises
    ------
    FormError
        There is no file, or somebody else is writing to the store.
    """
    if not files:
        raise FormError("No file was chosen. Choose one or more log files.")
    try:
        with Store.open(store_url, create=False, wait_seconds=PATIENCE_SECONDS) as store:
            return ingest(
                store,
                files,
                policy,
                profile,
                table,
                received_at=at,
                ingested_at=at,
                brought_by=who,
            )
    except StoreError as fault:
        raise FormError(f"Nothing more was taken in. {fault}") from None


def taken_in(
    summary: IngestSummary, refused: pd.DataFrame, found: Snapshot, standing: Standing
) -> TakenIn:
    """The command's summary, and the rows that were refused now."""
    return TakenIn(
        standing=standing,
        counts=tuple(Counts(**asdict(count)) for count in summary.tables),
        faults=tuple(str(fault) for fault in summary.faults),
        notes=summary.notes,
        refused=as_shown(refused.head(MOST_SHOWN), found, sees=True),
        refused_left=max(0, len(refused) - MOST_SHOWN),
    )
