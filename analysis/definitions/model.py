"""What belongs to a definition that a reader is shown?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from analysis.policy import shipped_policy
from analysis.tables import KNOWN, Records
from analysis.tallies import Tallies, tally
from analysis.timeline import Timeline, build

Rows = Mapping[str, Sequence[object]]
Measure = Callable[[Timeline, Tallies], object]


def codes(letter: str, count: int) -> list[str]:
    """Codes of one kind, numbered from 1."""
    return [f"{letter}{at}" for at in range(1, count + 1)]


def records_of(tables: Mapping[str, Rows]) -> Records:
    """Records of a tiny history under a tunneled line with a transparent dressing."""
    frames = {}
    for name, rows in tables.items():
        count = len(next(iter(rows.values())))
        filled: dict[str, Sequence[object]] = dict(rows)
        filled.setdefault("row", range(1, count + 1))
        filled.setdefault("received_at", ["2031-01-01"] * count)
        if name == "lines":
            filled = {**{k: [v] * count for k, v in _LINE.items()}, **filled}
            filled.setdefault("placed_on", filled["home_from"])
        if name == "home_log":
            filled.setdefault("family_id", ["F1"] * count)
            filled.setdefault("line_id", ["L1"] * count)
        frames[name] = KNOWN[name].build(filled)
    return Records.of(frames)


@dataclass(frozen=True)
class Example:
    """A tiny history and the number it gives, to be redone by hand."""

    words: str
    tables: Mapping[str, Rows]
    as_of: date
    measure: Measure
    answer: object

    @property
    def records(self) -> Records:
        """The history as records."""
        return records_of(self.tables)

    def run(self) -> object:
        """The number as the program calculates it under the shipped policy."""
        policy = shipped_policy()
        timeline = build(self.records, policy, self.as_of)
        return self.measure(timeline, tally(timeline, policy))


_LINE = {
    "line_id": "L1",
    "child_id": "C1",
    "family_id": "F1",
    "site": "north",
    "line_type": "tunneled_cvc",
    "dressing_type": "transparent",
}


@dataclass(frozen=True)
class Definition:
    """One quantity: its name, meaning, unit, source, and an example."""

    key: str
    title: str
    words: str
    unit: str
    source: str
    example: Example

    def __str__(self) -> str:
        """All of it as a reader sees it; the answer is calculated again.

        Examples
        --------
        >>> from analysis.definitions import DEFINITIONS
        >>> print(DEFINITIONS[0])  # doctest: +ELLIPSIS
        Home line-days (line-days). A day counts when, at the midnight ...
          Source: project choice, in the spirit of NHSN's count at the same time each day; ...
          Example: Home from 1 March, in hospital for the nights of 5 and 6 March ... Answer: 8.
        """
        return (
            f"{self.title} ({self.unit}). {self.words}\n  Source: {self.source}.\n"
            f"  Example: {self.example.words} Answer: {self.example.run()}."
        )
