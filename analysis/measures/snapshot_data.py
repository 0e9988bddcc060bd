"""What do measures over time read? The parts of a snapshot, without knowing the snapshot."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Hashable, Iterable
from datetime import date
from typing import Any, Protocol, TypeVar

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tallies import Tallies
from analysis.timeline import Timeline

FoundOf = dict[Hashable, tuple[bytes, Any]]
"""Answers by question, each with the hash of the numbers that it follows from."""


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

    @property
    def found_of(self) -> FoundOf:
        """What measures found in this or an earlier snapshot, by question; see `unless_same`."""
        ...


Answer = TypeVar("Answer")


class Finding(Protocol):
    """Keeps what measures found of it: a snapshot, or tallies."""

    @property
    def found(self) -> dict[Hashable, Any]:
        """What was found, by question."""
        ...


def once(data: Finding, question: Hashable, find: Callable[[], Answer]) -> Answer:
    """The answer to a question about a snapshot or its tallies, found when first asked.

    Many measures ask how complete each month is, which takes reading the whole log.
    """
    if question not in data.found:
        data.found[question] = find()
    answer: Answer = data.found[question]
    return answer


def unless_same(
    known: FoundOf,
    question: Hashable,
    inputs: Iterable[npt.ArrayLike],
    find: Callable[[], Answer],
) -> Answer:
    """The answer found before, in an earlier snapshot too, unless any bit of the inputs differs.

    Parameters
    ----------
    known : dict
        Holds the last answer to each question: `found_of` of a snapshot.
    question : hashable
        What is asked.
    inputs : iterable of array_like
        Numbers: all that the answer depends on. Only their hash is kept.
    find : callable
        Gives the answer from these inputs alone.
    """
    digest = hash_of(*inputs)
    found = known.get(question)
    if found is not None and found[0] == digest:
        answer: Answer = found[1]
        return answer
    answer = find()
    known[question] = digest, answer
    return answer


def hash_of(*arrays: npt.ArrayLike) -> bytes:
    """SHA-256 of numbers with the type and shape of each array."""
    found = hashlib.sha256()
    for array in arrays:
        cells = np.asarray(array)
        found.update(f"{cells.dtype.str}{cells.shape};".encode())
        found.update(np.ascontiguousarray(cells).data)
    return found.digest()
