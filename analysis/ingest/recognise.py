"""Which known source does a file come from, by its heads?"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from analysis.ingest.faults import IngestError
from analysis.ingest.fhir_file import types_in
from analysis.ingest.grid import Grid, grids
from analysis.ingest.heads import alike, check_header, is_our_form, joined_heads, lasting
from analysis.ingest.profile import Profile, TableProfile
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault
from analysis.ingest.sources import Format, format_of, no_other_fault

MOSTLY = 0.6
"""Share of equal heads from which a file is taken to come from a source whose heads changed."""


@dataclass(frozen=True)
class _Likeness:
    """How many of all heads of a sheet and of a source's table are those of both."""

    share: float
    profile: Profile
    looks: TableProfile
    head: Sequence[str]


def recognised(log: LogFile, known: Sequence[Profile]) -> Profile | None:
    """The source that has the heads of a file.

    Parameters
    ----------
    log : LogFile
        The file.
    known : sequence of Profile
        Sources; those whose heads were not recorded are passed by.

    Returns
    -------
    Profile or None
        None: it looks like none of them, or like our own form.

    Raises
    ------
    IngestError
        Most heads are those of a source, but not all: read by it, the file could be misread. Or it
        cannot be read at all.
    """
    found = [
        _likeness(grid, profile, looks)
        for profile in known
        if any(looks.header for looks in profile.tables.values())
        for grid in grids(log, _depth(profile), profile.encoding)
        for looks in profile.tables.values()
        if looks.header
    ]
    best = max(found, key=lambda one: one.share, default=None)
    if best is None or best.share < MOSTLY:
        return None
    if best.share < 1 and not is_our_form(best.head):
        check_header(best.head, best.looks, best.profile, log.name)
    return best.profile if best.share == 1 else None


def _depth(profile: Profile) -> int:
    return max(looks.skip_rows + looks.head_rows for looks in profile.tables.values())


def _likeness(grid: Grid, profile: Profile, looks: TableProfile) -> _Likeness:
    head = joined_heads(grid.rows[looks.skip_rows : looks.skip_rows + looks.head_rows])
    given = {alike(cell) for cell in lasting(head, looks, profile)} - {""}
    known = {alike(cell) for cell in looks.header}
    share = len(given & known) / max(len(given | known), 1)
    return _Likeness(share, profile, looks, head)


def profile_of(log: LogFile, profile: Profile | None, known: Sequence[Profile]) -> Profile:
    """The profile that was named, else that of the source recognised, else our own form.

    Raises
    ------
    IngestError
        As in `recognised`, but for files that cannot be read.
    """
    if profile is not None:
        return profile
    if not known or log.path.is_dir():
        return Profile()
    try:
        if format_of(log) is Format.FHIR:
            return _of_resources(log, known) or Profile()
        with no_other_fault(log):
            return recognised(log, known) or Profile()
    except IngestError as fault:
        if fault.code in {FileFault.HEADS_CHANGED, FileFault.BROKEN_JSON}:
            raise
        return Profile()  # what is wrong is reported when it is read


def _of_resources(log: LogFile, known: Sequence[Profile]) -> Profile | None:
    """The only source that reads resources of the types in a FHIR file; None: none or several.

    Resources that no source reads are those of the source that reads the files ingested with them.
    """
    types = types_in(log)
    found = [profile for profile in known if profile.resources & types]
    if not found:
        others: set[str] = set()
        for other in log.fhir_others:
            with suppress(IngestError, OSError):  # reported when it is its turn
                others |= types_in(other)
        found = [profile for profile in known if profile.resources & others]
    return found[0] if len(found) == 1 else None
