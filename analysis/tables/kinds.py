"""What is a field: its kind, its meaning, its allowed values, and who may see it?

A field is defined once, in `analysis.tables.fields`. Readers of files, the store's schema, exports,
masks, forms and the data dictionary use that one definition.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What a cell holds, and so which pandas dtype carries it."""

    TEXT = "text"
    CODE = "code"
    CODES = "codes"
    DATE = "date"
    MONTH = "month"
    INSTANT = "instant"
    COUNT = "count"
    NUMBER = "number"
    FLAG = "flag"


DTYPES: Mapping[Kind, str] = {
    Kind.TEXT: "string",
    Kind.CODE: "category",
    Kind.CODES: "string",
    Kind.DATE: "datetime64[s]",
    Kind.MONTH: "datetime64[s]",
    Kind.INSTANT: "datetime64[us]",
    Kind.COUNT: "Int64",
    Kind.NUMBER: "float64",
    Kind.FLAG: "bool",
}
"""Dtype of each kind. CODES is text joined by ``;``. MONTH is the month's first day. INSTANT is
UTC without an offset. A COUNT that is never blank is plain ``int64``."""


class Sensitivity(StrEnum):
    """What a field may reveal of a person, and so how it may leave the store."""

    PLAIN = "plain"
    """A number, a flag or a word of a list: leaves as it is, rare words hidden."""
    DATE = "date"
    """A day or a moment: leaves a de-identified extract moved by the child's own days."""
    BIRTH = "birth"
    """A month of birth: leaves as an age band."""
    CODE = "code"
    """A code of a child, family, line, caregiver, entry or site: replaced."""
    STAFF = "staff"
    """A code of a member of staff: never in a de-identified extract."""
    LANGUAGE = "language"
    """The language of a family: for roles that call."""
    CONTACT = "contact"
    """How to reach a family: for roles that call."""
    FREE_TEXT = "free text"
    """May hold anything that somebody wrote."""
    CLOSED = "closed"
    """Nobody has stated what it holds: treated as a contact, a language and free text at once."""

    @property
    def is_private(self) -> bool:
        """Left out of plain exports, of messages and of pages without the right to it."""
        return self in {
            Sensitivity.LANGUAGE,
            Sensitivity.CONTACT,
            Sensitivity.FREE_TEXT,
            Sensitivity.CLOSED,
        }


@dataclass(frozen=True)
class Field:
    """One name with one meaning, wherever it is a column."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    allowed: tuple[str, ...] = ()
    """Words that a cell may hold; none: any."""
    low: int | None = None
    high: int | None = None
    """Limits of a number, both included."""
    sensitivity: Sensitivity = Sensitivity.CLOSED
    only_in: tuple[str, ...] = ()
    """Frames in which the name has this meaning, where the file formats give it two."""
