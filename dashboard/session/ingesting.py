"""How are rows that were sent by a page stored, the way the command line stores files?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime

from analysis.ingest import IngestSummary, LogFile, Profile, ingest
from analysis.ingest.preview import Preview, preview
from analysis.ingest.stored_sources import stored_profiles
from analysis.policy import Policy
from analysis.store import Store, StoreError
from dashboard.session.forms import FormError

PATIENCE_SECONDS = 10.0
"""Longest wait of a page for another writer; that of the command line is longer."""


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
    with _opened(store_url, files, "Nothing more was imported.") as store:
        return ingest(
            store,
            files,
            policy,
            profile,
            table,
            received_at=at,
            ingested_at=at,
            brought_by=who,
            zone_is_set=store.policy() is not None,
            sources=stored_profiles(store),
        )


def preview_files(
    store_url: str,
    files: Sequence[LogFile],
    policy: Policy,
    profile: Profile | None,
    at: datetime,
) -> Preview:
    """Show what files would become if they were received now; nothing is stored.

    Raises
    ------
    FormError
        There is no file, or somebody else is writing to the store.
    """
    with _opened(store_url, files, "The files were not checked.") as store:
        return preview(
            store,
            files,
            policy,
            profile,
            received_at=at,
            ingested_at=at,
            zone_is_set=store.policy() is not None,
            sources=stored_profiles(store),
        )


@contextmanager
def _opened(store_url: str, files: Sequence[LogFile], otherwise: str) -> Iterator[Store]:
    """The store that files are for; `otherwise` begins the sentence where it can't be used."""
    if not files:
        raise FormError("No file was chosen. Choose one or more log files.")
    try:
        with Store.open(store_url, create=False, wait_seconds=PATIENCE_SECONDS) as store:
            yield store
    except StoreError as fault:
        raise FormError(f"{otherwise} {fault}") from None
