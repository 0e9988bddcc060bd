"""Is there a family with this code, and how is it reached?"""

from __future__ import annotations

from analysis.snapshot import Snapshot
from dashboard.session.frames import cells_of
from dashboard.session.loaded import LoadedSnapshot


def known_family(loaded: LoadedSnapshot, family_id: object) -> str | None:
    """The code, if there is a family with it."""
    return family_id if isinstance(family_id, str) and family_id in loaded.family_ids else None


def how_to_reach(found: Snapshot, family_id: str) -> tuple[str | None, str | None]:
    """Newest contact and language of the family's lines."""
    names = ("received_at", "row", "contact", "language")
    lines = cells_of(found.records.lines, "family_id", family_id, *names)
    newest_last = sorted(lines, key=lambda line: line[:2])
    contacts = [contact for _, _, contact, _ in newest_last if contact is not None]
    languages = [language for *_, language in newest_last if language is not None]
    return contacts[-1] if contacts else None, languages[-1] if languages else None
