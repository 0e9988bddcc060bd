"""The catalogue of fields: each name once, with its kind, unit, meaning, limits and sensitivity.

A frame names the fields that it has. Add a field in the module of its theme.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from analysis.tables.fields.days import DAYS
from analysis.tables.fields.lists import LISTS
from analysis.tables.fields.rates import RATES
from analysis.tables.fields.records import RECORDS
from analysis.tables.fields.storage import STORAGE
from analysis.tables.kinds import Field

Place = tuple[str, str]
"""A name, and the frame in which alone it has the meaning; empty: every frame."""


def _catalogue(fields: Iterable[Field]) -> Mapping[Place, Field]:
    found: dict[Place, Field] = {}
    for field in fields:
        for frame in field.only_in or ("",):
            if (field.name, frame) in found:
                raise ValueError(f"the field {field.name} is defined twice")
            found[field.name, frame] = field
    return found


FIELDS: Mapping[Place, Field] = _catalogue((*RECORDS, *DAYS, *RATES, *LISTS, *STORAGE))
"""Every field by its name and place."""


def field_of(name: str, frame: str = "") -> Field:
    """Return the field of that name in a frame.

    Raises
    ------
    KeyError
        No field has the name.
    """
    found = FIELDS.get((name, frame)) or FIELDS.get((name, ""))
    if found is None:
        raise KeyError(f"{name} is not in the catalogue of fields")
    return found


__all__ = ["FIELDS", "field_of"]
