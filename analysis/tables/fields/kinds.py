"""How is a field of each usual kind written on one line, with its sensitivity and limits?"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial

from analysis.tables.kinds import Field, Kind, Sensitivity


def _field(
    kind: Kind,
    sensitivity: Sensitivity,
    name: str,
    meaning: str,
    unit: str = "",
    *,
    allowed: Iterable[str] = (),
    low: int | None = None,
    high: int | None = None,
    only_in: str = "",
) -> Field:
    """Make a field; `only_in` names frames, separated by spaces."""
    frames = tuple(only_in.split())
    return Field(name, kind, meaning, unit, tuple(allowed), low, high, sensitivity, frames)


count = partial(_field, Kind.COUNT, Sensitivity.PLAIN, low=0)
number = partial(_field, Kind.NUMBER, Sensitivity.PLAIN)
share = partial(number, unit="share from 0 to 1", low=0, high=1)
probability = partial(number, unit="probability from 0 to 1", low=0, high=1)
flag = partial(_field, Kind.FLAG, Sensitivity.PLAIN)
word = partial(_field, Kind.CODE, Sensitivity.PLAIN)  # without `allowed`: the policy's list
words = partial(_field, Kind.CODES, Sensitivity.PLAIN)
text = partial(_field, Kind.TEXT, Sensitivity.PLAIN)  # written by the program
day = partial(_field, Kind.DATE, Sensitivity.DATE)
month = partial(_field, Kind.MONTH, Sensitivity.DATE)
moment = partial(_field, Kind.INSTANT, Sensitivity.DATE, unit="UTC")
code = partial(_field, Kind.TEXT, Sensitivity.CODE)
codes = partial(_field, Kind.CODES, Sensitivity.CODE)
staff = partial(_field, Kind.TEXT, Sensitivity.STAFF)
free_text = partial(_field, Kind.TEXT, Sensitivity.FREE_TEXT)
