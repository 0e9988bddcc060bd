"""What do measures over time read? The parts of a snapshot, without knowing the snapshot."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from datetime import date
from typing import Any, Protocol, TypeVar

import pandas as pd

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tallies import Tallies
from analysis.timeline import Timeline


class SnapshotData(Protocol):
    """Everything as of a day, known at a time; `analysis.snapshot.Snapshot` has these parts."""

    @property
    def as_of(self) -> date:
        """Days before it count."""
        ...

    @property
    def known_on(self) -> date:
        """Last day whose receipts are known."""
        ...

    @property
    def policy(self) -> Policy:
        """Its time zone, and the settings in force on each day."""
        ...

    @property
    def records(self) -> Records:
        """Rows as known."""
        ...

    @property
    def ingests(self) -> pd.DataFrame:
        """Which files were stored."""
        ...

    @property
    def timeline(self) -> Timeline:
        """Days, intervals, states and events of every line."""
        ...

    @property
    def counted_timeline(self) -> Timeline:
        """The timeline from which the tallies are counted."""
        ...

    @property
    def tallies(self) -> Tallies:
        """Counts that add up."""
        ...

    @property
    def found(self) -> dict[Hashable, Any]:
        """What measures found of it, by question; see `once`."""
        ...


Answer = TypeVar("Answer")


def once(data: SnapshotData, question: Hashable, find: Callable[[], Answer]) -> Answer:
    """The answer to a question about a snapshot's log and tallies, found when first asked.

    Many measures ask how complete each month is, which takes reading the whole log.
    """
    if question not in data.found:
        data.found[question] = find()
    answer: Answer = data.found[question]
    return answer
