"""What is wrong with a form, and was it sent twice?"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

MOST_CHARACTERS_OF_A_KEY = 64


class FormError(Exception):
    """What a reader typed or asked for does not fit; one sentence on how to correct it.

    `field` names the field it is about. `value`, where given, is put into that field, so that
    sending the form again answers what was asked.
    """

    def __init__(self, sentence: str, field: str | None = None, value: str | None = None) -> None:
        super().__init__(sentence)
        self.field = field
        self.value = value


@dataclass(frozen=True)
class Form:
    """Fields as a reader typed them in; nothing in them is trusted."""

    @classmethod
    def of(cls, given: object) -> Self:
        """Take the fields out of what the page sent; absent ones are None."""
        known = given if isinstance(given, dict) else {}
        return cls(**{f.name: known.get(f.name) for f in fields(cls)})


@dataclass(frozen=True)
class RowForm(Form):
    """Which recorded row to undo."""

    row: object


def form_key(given: object) -> str:
    """What tells one form from another, as the page gave it out.

    Raises
    ------
    FormError
        It is nothing that a page gives out.
    """
    if not isinstance(given, str) or not 0 < len(given) <= MOST_CHARACTERS_OF_A_KEY:
        raise FormError("This page is out of date. Reload it and try again.")
    return given
