"""Which sources are described in a store, and how fresh is what they sent?"""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pandas as pd

from analysis.ingest.profile import Profile
from analysis.ingest.profile_file import parse_profile
from analysis.store import Store
from analysis.store.source_profiles import StoredSource

OUR_FORM = ""
"""Name of what came in without a source profile."""


def newest_sources(store: Store) -> dict[str, StoredSource]:
    """The newest version of each source profile, by name."""
    return {source.name: source for source in store.source_profiles()}


def stored_profiles(store: Store) -> tuple[Profile, ...]:
    """The profiles of all sources that are described in a store.

    Raises
    ------
    ProfileError
        One was stored by another version of the program and holds what this one does not know.
    """
    return tuple(
        parse_profile(source.text, f"the source {source.name}", source.name)
        for source in newest_sources(store).values()
    )


def freshness(store: Store, zone: ZoneInfo, today: date) -> pd.DataFrame:
    """Which sources there are, and when each was last heard from.

    Parameters
    ----------
    store : Store
        Its sources and its ingests.
    zone : ZoneInfo
        In which days are counted.
    today : date
        Day on which the days without a file are counted.

    Returns
    -------
    DataFrame
        One row a source: `source` (blank: our own form), `version` and `tables` (of its profile;
        blank: it has none in the store), `files` (ingests), `rows` (stored), `refused`, `last_file`,
        `last_received_on`, `quiet_days` since then; those quiet longest first.
    """
    profiles, versions = {p.name: p for p in stored_profiles(store)}, newest_sources(store)
    ingests = store.ingests()
    ingests = ingests.assign(source=ingests["source"].fillna(OUR_FORM).astype("string"))
    rows = []
    for name in sorted({*profiles, *ingests["source"].unique()}):
        own = ingests[(ingests["source"] == name).to_numpy(dtype=bool)]
        last = own.sort_values("received_at", kind="stable").tail(1)
        on = None if own.empty else last["received_at"].iloc[0].tz_localize("UTC").astimezone(zone)
        known = name in profiles
        rows.append(
            {
                "source": name,
                "version": versions[name].version if known else None,
                "tables": ";".join(profiles[name].tables) if known else None,
                "files": int(own["ingest"].nunique()),
                "rows": int(own["stored"].sum()),
                "refused": int(own["refused"].sum()),
                "last_file": None if own.empty else last["file"].iloc[0],
                "last_received_on": None if on is None else str(on.date()),
                "quiet_days": None if on is None else (today - on.date()).days,
            }
        )
    frame = pd.DataFrame(rows, columns=FRESHNESS).astype(
        dict.fromkeys(("version", "files", "rows", "refused", "quiet_days"), "Int64")
    )
    return frame.sort_values("quiet_days", ascending=False, kind="stable", ignore_index=True)


FRESHNESS = [
    "source",
    "version",
    "tables",
    "files",
    "rows",
    "refused",
    "last_file",
    "last_received_on",
    "quiet_days",
]
"""Columns of `freshness`."""
