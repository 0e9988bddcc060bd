"""How is a calculated field defined: plain, and no part of what makes two rows the same?"""

from __future__ import annotations

from analysis.tables.kinds import Field, Kind, Sensitivity


def _plain(
    name: str,
    kind: Kind,
    meaning: str,
    unit: str = "",
    allowed: tuple[str, ...] = (),
    low: int | None = None,
    high: int | None = None,
    only_in: tuple[str, ...] = (),
) -> Field:
    return Field(
        name,
        kind,
        meaning,
        unit,
        allowed,
        low,
        high,
        Sensitivity.PLAIN,
        identity=False,
        only_in=only_in,
    )


def count(
    name: str,
    meaning: str,
    unit: str = "",
    *,
    low: int | None = 0,
    only_in: tuple[str, ...] = (),
) -> Field:
    """A whole number, not below `low`."""
    return _plain(name, Kind.COUNT, meaning, unit, low=low, only_in=only_in)


def number(name: str, meaning: str, unit: str = "") -> Field:
    """A number with decimals."""
    return _plain(name, Kind.NUMBER, meaning, unit)


def share(name: str, meaning: str) -> Field:
    """A share from 0 to 1."""
    return _plain(name, Kind.NUMBER, meaning, "share from 0 to 1", low=0, high=1)


def probability(name: str, meaning: str) -> Field:
    """A probability from 0 to 1."""
    return _plain(name, Kind.NUMBER, meaning, "probability from 0 to 1", low=0, high=1)


def flag(name: str, meaning: str, *, only_in: tuple[str, ...] = ()) -> Field:
    """Yes or no."""
    return _plain(name, Kind.FLAG, meaning, only_in=only_in)


def word(
    name: str,
    meaning: str,
    unit: str = "",
    *,
    allowed: tuple[str, ...] = (),
    only_in: tuple[str, ...] = (),
) -> Field:
    """A word of a list; `allowed` empty: the policy's list."""
    return _plain(name, Kind.CODE, meaning, unit, allowed, only_in=only_in)


def words(name: str, meaning: str) -> Field:
    """Words of a list joined by ``;``."""
    return _plain(name, Kind.CODES, meaning)


def text(name: str, meaning: str, *, only_in: tuple[str, ...] = ()) -> Field:
    """Text that the program writes."""
    return _plain(name, Kind.TEXT, meaning, only_in=only_in)


def _of_time(name: str, kind: Kind, meaning: str, unit: str = "") -> Field:
    return Field(name, kind, meaning, unit, sensitivity=Sensitivity.DATE, identity=False)


def day(name: str, meaning: str, *, only_in: tuple[str, ...] = ()) -> Field:
    """A date."""
    return Field(
        name, Kind.DATE, meaning, sensitivity=Sensitivity.DATE, identity=False, only_in=only_in
    )


def month(name: str, meaning: str) -> Field:
    """A calendar month."""
    return _of_time(name, Kind.MONTH, meaning)


def moment(name: str, meaning: str) -> Field:
    """A moment in UTC."""
    return _of_time(name, Kind.INSTANT, meaning, "UTC")
