"""What is computed from one snapshot once and then looked up by many requests?"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.day import moved_lines
from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.store.added import Added
from analysis.tables.codes import cells_at, is_among, rows_at
from dashboard.session.answers import AnswerCache
from dashboard.session.frames import RowsBy, of, plain_cells_at, stacked

OWNER_CODES = {
    "lines": "family_id",
    "caregivers": "family_id",
    "home_log": "family_id",
    "stays": "child_id",
    "outcomes": "child_id",
    "sign_offs": "caregiver_id",
}
"""The code by which the rows of each table are looked up; calls and arrangements are few."""
NO_OWNER = ""
"""A code of no row: its rows have the columns of the table, and there are none."""
MOST_REPORTS = 24


def log_of(
    by_family: pd.DataFrame,
    own: pd.DataFrame,
    lines: pd.DataFrame,
    of_line: Callable[[str], pd.DataFrame],
) -> pd.DataFrame:
    """The home log of a family: the entries of its lines, and those of lines nobody knows.

    Parameters
    ----------
    by_family : DataFrame
        Entries that name the family.
    own, lines : DataFrame
        The family's lines, and all that are known.
    of_line : callable
        Entries of a line. A line that was of another family before has some that name that one.
    """
    known = is_among(by_family["line_id"], lines["line_id"])
    parts = [by_family[~known], *(of_line(str(line)) for line in own["line_id"])]
    return stacked(parts).sort_values("row", ignore_index=True)


@dataclass(frozen=True)
class LoadedSnapshot:
    """A snapshot with indexes on its rows and the answers computed from it."""

    snapshot: Snapshot

    @cached_property
    def family_ids(self) -> frozenset[str]:
        """Codes of all families."""
        return frozenset(self.snapshot.timeline.families["family_id"])

    @cached_property
    def lines_at_home(self) -> int:
        """How many lines are at home."""
        return int(self.snapshot.timeline.lines["at_home"].sum())

    @cached_property
    def by(self) -> dict[str, RowsBy]:
        """Rows of each table by the code that leads from a family to them."""
        records = self.snapshot.records
        return {name: RowsBy(getattr(records, name), code) for name, code in OWNER_CODES.items()}

    @cached_property
    def log_by_line(self) -> RowsBy:
        """Entries of the home log by line: a line keeps its history when its family changes."""
        return RowsBy(self.snapshot.records.home_log, "line_id")

    def rows_of(self, name: str, owners: Iterable[str], *names: str) -> list[tuple[Any, ...]]:
        """Columns of the rows of some families, children or caregivers as plain values; see `OWNER_CODES`."""
        places = self.by[name].places(*owners)
        return plain_cells_at(getattr(self.snapshot.records, name), places, *names)

    @cached_property
    def lines_by_family(self) -> RowsBy:
        """Lines of the timeline by family."""
        return RowsBy(self.snapshot.timeline.lines, "family_id")

    @cached_property
    def moved_lines(self) -> frozenset[str]:
        """Lines that were with another family before."""
        return frozenset(moved_lines(self.snapshot.timeline, self.snapshot.records))

    def entries_of(self, family_id: str, *names: str) -> list[tuple[Any, ...]]:
        """Columns of a family's home log as plain values.

        An entry that names another family belongs to the line where that family had it before.
        """
        own = {line for (line,) in self.rows_of("lines", [family_id], "line_id")}
        log, moved = self.snapshot.records.home_log, own & self.moved_lines
        entries = plain_cells_at(log, self._entries(family_id), "line_id", "family_id", *names)
        return [
            tuple(cells) for line, family, *cells in entries if family == family_id or line in moved
        ]

    def _entries(self, family_id: str) -> npt.NDArray[np.intp]:
        """Positions of the entries of a family's lines, and of those that name it and a line nobody knows."""
        log, lines = self.snapshot.records.home_log, self.snapshot.records.lines
        own = [line for (line,) in self.rows_of("lines", [family_id], "line_id")]
        of_lines = self.log_by_line.places(*own)
        others = np.setdiff1d(self.by["home_log"].places(family_id), of_lines)
        if len(others):
            line_ids = pd.Series(cells_at(log["line_id"].array, others))
            others = others[~is_among(line_ids, lines["line_id"])]
        return np.sort(np.concatenate([of_lines, others]))

    def of_family(self, family_id: str) -> Snapshot:
        """What is known of one family alone: nothing about it follows from other families."""
        records = self.snapshot.records
        found: dict[str, Any] = {}
        for name, code in OWNER_CODES.items():
            owners = [family_id]
            if code != "family_id":
                owners = found["caregivers" if code == "caregiver_id" else "lines"][code].unique()
            places = self.by[name].places(*owners)
            found[name] = rows_at(getattr(records, name), places).reset_index(drop=True)
        entries = rows_at(records.home_log, self._entries(family_id))
        found["home_log"] = entries.reset_index(drop=True)
        for name in ("calls", "arrangements"):
            found[name] = of(getattr(records, name), "family_id", family_id)
        own = is_among(records.earlier_lines["line_id"], found["lines"]["line_id"])
        found["earlier_lines"] = records.earlier_lines[own]
        return replace(self.snapshot, records=replace(records, **found), with_moved=None)

    @cached_property
    def answers(self) -> AnswerCache:
        """Answers that depend on everything in the snapshot."""
        return AnswerCache()

    @cached_property
    def lasting(self) -> AnswerCache:
        """Answers that do not depend on calls and arrangements."""
        return AnswerCache()

    @cached_property
    def reports(self) -> AnswerCache:
        """Reports of past weeks, from what was received before today: no call changes them."""
        return AnswerCache(MOST_REPORTS)

    def warm_up(self) -> None:
        """Compute now what pages would compute when they are first opened."""
        _ = self.by, self.log_by_line, self.lines_by_family, self.moved_lines
        _ = self.snapshot.calls, self.snapshot.tallies

    def with_acts_of(self, store: Store) -> LoadedSnapshot | None:
        """The same rows with what was stored since; None: everything has to be read again.

        Calls and arrangements change nothing that was logged, so that rows, timeline and indexes
        stay and only the calling order is computed again; without any since, everything stays.
        """
        before, ingests = self.snapshot, store.ingests()
        if ingests.equals(before.ingests):
            return self.with_calls(*store.acts(before.known_at))
        return self.with_added(store.added(before.records, before.known_at), ingests)

    def with_added(self, added: Added | None, ingests: pd.DataFrame) -> LoadedSnapshot | None:
        """The same with rows stored since: only what they change is computed again."""
        snapshot = None if added is None else self.snapshot.with_added(added, ingests)
        if snapshot is None:
            return None
        after, records = LoadedSnapshot(snapshot), snapshot.records
        if "by" in vars(self):
            by = {name: rows.after(getattr(records, name)) for name, rows in self.by.items()}
            vars(after)["by"] = by
        if "log_by_line" in vars(self):
            vars(after)["log_by_line"] = self.log_by_line.after(records.home_log)
        return after

    def with_calls(self, calls: pd.DataFrame, arrangements: pd.DataFrame) -> LoadedSnapshot:
        """The same rows with other calls and arrangements; this one where they are the same."""
        records = self.snapshot.records
        if calls.equals(records.calls) and arrangements.equals(records.arrangements):
            return self
        loaded = LoadedSnapshot(self.snapshot.with_acts(calls, arrangements))
        for part in ("by", "log_by_line", "lines_by_family", "moved_lines", "lasting", "reports"):
            vars(loaded)[part] = getattr(self, part)
        return loaded
