"""Is there a family with this code, and how is it reached?"""

from __future__ import annotations

from dataclasses import replace

from analysis.decisions.asked import family_languages
from analysis.snapshot import Snapshot
from dashboard.session.frames import of
from dashboard.session.loaded import LoadedSnapshot


def known_family(loaded: LoadedSnapshot, family_id: object) -> str | None:
    """The code, if there is a family with it."""
    return family_id if isinstance(family_id, str) and family_id in loaded.family_ids else None


def how_to_reach(found: Snapshot, family_id: str) -> tuple[str | None, str | None]:
    """Newest contact and language of the family's lines."""
    lines = of(found.records.lines, "family_id", family_id).sort_values(["received_at", "row"])
    contact = lines["contact"].dropna()
    language = family_languages(replace(found.records, lines=lines))
    return (
        str(contact.iloc[-1]) if len(contact) else None,
        str(language.iloc[-1]) if len(language) else None,
    )
