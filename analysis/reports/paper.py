"""What does a paper hold, whoever shows it?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from analysis.definitions import Definition
from analysis.vocabulary import Role
from analysis.words import CAUTIONS

Row = tuple[str, ...]


class Copy(StrEnum):
    """Who a copy is for."""

    TEAM = "team"
    """Names families and shows every count: for the team only."""
    OUTSIDE = "outside"
    """May leave the team: no single family, and the small-cell rule."""


def usual_copy(role: Role) -> Copy:
    """Whom a role's paper is for unless told otherwise.

    Those that name families stay in the team.
    """
    return Copy.TEAM if role in (Role.MANAGER, Role.EDUCATOR) else Copy.OUTSIDE


COPY_WORDS = {
    Copy.TEAM: (
        "For the team only. It names families by their codes or shows small counts; do not pass "
        "it on."
    ),
    Copy.OUTSIDE: (
        "May leave the team. No single family is named; counts from 1 to 10 are hidden, and others "
        "from which one of them could be worked out."
    ),
}


@dataclass(frozen=True)
class Table:
    """A table whose first column names the row."""

    label: str
    heads: Row
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Figure:
    """A drawing as SVG, and what it shows in words."""

    svg: str
    told: str


@dataclass(frozen=True)
class Part:
    """A question, its answer, and what the answer rests on."""

    title: str
    answer: str
    figure: Figure | None = None
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()
    explained: tuple[str, ...] = ()
    """Keys of the definitions of its numbers."""


@dataclass(frozen=True)
class Paper:
    """A digest or report of one role."""

    role: Role
    copy: Copy
    title: str
    about: str
    brief: tuple[str, ...]
    """What to know first."""
    parts: tuple[Part, ...]
    standing: tuple[tuple[str, str], ...]
    """What it rests on: names and values."""
    definitions: tuple[Definition, ...]
    """Of the numbers it holds."""
    cautions: tuple[str, ...] = CAUTIONS
