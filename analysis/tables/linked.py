"""Which families have to be computed again when some rows have changed?

Families are linked by a child or a line that they share, or shared before, and by an entry of the
log that names a line of the one and the code of the other. What is computed of a set of families
without links to others is theirs alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.tables.codes import is_among, rows_at
from analysis.tables.records import Records


@dataclass(frozen=True)
class Linked:
    """Codes of lines, children and families."""

    line_id: frozenset[str] = frozenset()
    child_id: frozenset[str] = frozenset()
    family_id: frozenset[str] = frozenset()

    def __or__(self, other: Linked) -> Linked:
        """The codes of both."""
        return Linked(**{name: codes | getattr(other, name) for name, codes in vars(self).items()})

    @classmethod
    def named_in(cls, frames: Iterable[pd.DataFrame]) -> Linked:
        """The codes in the columns of frames."""
        found: dict[str, set[str]] = {name: set() for name in cls.__dataclass_fields__}
        for frame in frames:
            for name, codes in found.items():
                if name in frame:
                    codes.update(map(str, frame[name].dropna().unique()))
        return cls(**{name: frozenset(codes) for name, codes in found.items()})


def linked_with(changed: Linked, before: Records, now: Records, most: int) -> Linked | None:
    """Everyone linked with changed rows, before or after the change.

    Parameters
    ----------
    changed : Linked
        Codes in the rows that came and in those that went.
    before, now : Records
        The records without and with the change.
    most : int
        Lines at most.

    Returns
    -------
    Linked or None
        None: they are more lines.
    """
    held = pd.concat(
        [
            frame[["line_id", "child_id", "family_id"]]
            for records in (before, now)
            for frame in (records.lines, records.earlier_lines)
        ],
        ignore_index=True,
    ).drop_duplicates(ignore_index=True)
    found, log = _by_registry(changed, held), now.home_log[["line_id", "family_id"]]
    while len(found.line_id) <= most:  # the log is long: seldom read twice
        own = [_own(log, found, "line_id", "family_id")]
        own.append(_own(now.outcomes[["line_id", "child_id"]], found, "line_id"))
        further = found | Linked.named_in(own)
        if further == found:
            return found
        found = _by_registry(further, held)
    return None


def _by_registry(found: Linked, held: pd.DataFrame) -> Linked:
    """Everyone linked by a line, child or family that they have or had."""
    while True:
        further = found | Linked.named_in([_own(held, found, "line_id", "child_id", "family_id")])
        if further == found:
            return found
        found = further


def records_of_linked(records: Records, of: Linked) -> Records:
    """What the timeline of linked families is made from, in the order of its rows.

    Tables that it is not made from are left empty.
    """
    rows = {
        "lines": ("line_id",),
        "earlier_lines": ("line_id",),
        "stays": ("child_id",),
        "outcomes": ("line_id",),
        "home_log": ("line_id", "family_id"),
    }
    frames: dict[str, Any] = {}
    for name, frame in records.frames.items():
        frames[name] = _own(frame, of, *rows.get(name, ())).reset_index(drop=True)
    return replace(records, **frames)


def _own(frame: pd.DataFrame, of: Linked, *columns: str) -> pd.DataFrame:
    """Rows of a frame in which one of the columns holds a code of its kind."""
    found = np.zeros(len(frame), dtype=bool)
    for name in columns:
        codes = getattr(of, name)
        if codes:
            found |= is_among(frame[name], sorted(codes))
    return rows_at(frame, np.flatnonzero(found))
