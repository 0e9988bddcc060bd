"""What does a clinic's own sheet or form look like, and how is it turned into our columns?

A source profile is a TOML file. It sets in which order dates are written, which of their
heads is which of our columns, which of their words is which of our codes.
"""

from __future__ import annotations

import codecs
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatch
from pathlib import Path
from types import MappingProxyType
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from analysis.ingest.faults import ProfileError
from analysis.ingest.moments import DateOrder
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW
from analysis.tables.kinds import Kind

ENCODINGS = ("utf-8", "cp1252", "latin-1")
YES = ("yes", "y", "x", "1", "true")
NO = ("no", "n", "0", "false")

_EMPTY: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True)
class Tick:
    """One of their columns that means one code: ticked or not."""

    column: str
    head: str
    code: str
    yes: frozenset[str]
    no: frozenset[str]


@dataclass(frozen=True)
class TableProfile:
    """How one table looks in a source; words in `values` are in small letters."""

    names: tuple[str, ...] = ()
    skip_rows: int = 0
    head_rows: int = 1
    heads: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    fixed: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: _EMPTY)
    ticks: tuple[Tick, ...] = ()


@dataclass(frozen=True)
class Profile:
    """How a source writes; without a profile everything is as on the formats page."""

    name: str = ""
    date_order: DateOrder = DateOrder.ISO
    time_zone: str | None = None
    encoding: str = "utf-8"
    tables: Mapping[str, TableProfile] = field(default_factory=lambda: _EMPTY)

    def table(self, name: str) -> TableProfile:
        """How a table looks in this source."""
        return self.tables.get(name, TableProfile())

    def tables_named(self, name: str) -> list[str]:
        """Tables whose name patterns fit a sheet or file name."""
        return [
            table
            for table, looks in self.tables.items()
            if any(fnmatch(name.casefold(), pattern.casefold()) for pattern in looks.names)
        ]


def load_profile(name_or_path: str | Path) -> Profile:
    """Read a source profile.

    Parameters
    ----------
    name_or_path : str or Path
        Path of a TOML file, or a plain name: then ``<name>.toml`` in the working folder.

    Returns
    -------
    Profile
        The profile, checked.

    Raises
    ------
    ProfileError
        The file cannot be read, or a key is unknown or holds what it cannot hold.
    """
    path = Path(name_or_path)
    if not path.suffix and not path.is_file():
        path = path.with_suffix(".toml")
    try:
        text = path.read_text("utf-8-sig")
    except FileNotFoundError:
        raise ProfileError(
            f"{path}: there is no such source profile. Give its path, or its name when "
            f"{path.name} lies in the working folder."
        ) from None
    except (OSError, UnicodeDecodeError) as fault:
        raise ProfileError(
            f"{path}: the source profile cannot be read as UTF-8 text "
            f"({type(fault).__name__}). Check the path and save the file as UTF-8."
        ) from None
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise ProfileError(f"{path.name}: not valid TOML: {fault}.") from None
    return _Reader(path.name, path.stem).profile(raw)


def _kind(table: str, column: str) -> Kind:
    return next(c.kind for c in (*INCOMING[table].columns, *ON_EVERY_ROW) if c.name == column)


@dataclass(frozen=True)
class _Reader:
    """One file being read, so that every fault names it and the key."""

    file: str
    stem: str

    def profile(self, raw: Mapping[str, Any]) -> Profile:
        """Turn the parsed TOML into a profile."""
        self._known(raw, ("name", "date_order", "time_zone", "encoding", "table"), "")
        order = self._text(raw, "date_order", "", "iso")
        if order not in list(DateOrder):
            self._fail("date_order", f"{order!r} is not one of {', '.join(DateOrder)}")
        zone = self._text(raw, "time_zone", "", "") or None
        if zone is not None:
            try:
                ZoneInfo(zone)
            except (KeyError, ValueError, OSError):
                self._fail(
                    "time_zone", f"{zone!r} is no IANA time zone; write one like 'Asia/Tokyo'"
                )
        encoding = self._text(raw, "encoding", "", "utf-8").lower()
        try:
            same = [e for e in ENCODINGS if codecs.lookup(e) == codecs.lookup(encoding)]
        except LookupError:
            same = []
        if not same:
            self._fail("encoding", f"{encoding!r} is not one of {', '.join(ENCODINGS)}")
        tables = self._block(raw, "table", "")
        for table in tables:
            if table not in INCOMING:
                self._fail(f"table.{table}", f"is no table; known are {', '.join(INCOMING)}")
        return Profile(
            name=self._text(raw, "name", "", self.stem),
            date_order=DateOrder(order),
            time_zone=zone,
            encoding=same[0],
            tables={t: self._table(self._block(tables, t, "table."), t) for t in tables},
        )

    def _table(self, raw: Mapping[str, Any], table: str) -> TableProfile:
        here = f"table.{table}."
        self._known(
            raw, ("names", "skip_rows", "head_rows", "heads", "fixed", "values", "ticks"), here
        )
        heads = self._words(raw, "heads", here)
        for head, column in heads.items():
            self._column(table, column, f'{here}heads."{head}"')
        fixed = self._words(raw, "fixed", here)
        for column, code in fixed.items():
            self._column(table, column, f"{here}fixed.{column}")
            self._code(table, column, code, f"{here}fixed.{column}")
        values = {
            column: self._values(table, column, raw, here)
            for column in self._block(raw, "values", here)
        }
        ticks = raw.get("ticks", [])
        if not isinstance(ticks, list) or not all(isinstance(t, dict) for t in ticks):
            self._fail(f"{here}ticks", f"write each as a block that starts with [[{here}ticks]]")
        return TableProfile(
            names=self._texts(raw, "names", here, ()),
            skip_rows=self._whole(raw, "skip_rows", here, 0, 0),
            head_rows=self._whole(raw, "head_rows", here, 1, 1),
            heads=heads,
            fixed=fixed,
            values=values,
            ticks=tuple(self._tick(t, table, f"{here}ticks.") for t in ticks),
        )

    def _values(
        self, table: str, column: str, raw: Mapping[str, Any], here: str
    ) -> Mapping[str, str]:
        where = f"{here}values.{column}"
        self._column(table, column, where)
        if _kind(table, column) not in {Kind.TEXT, Kind.CODE, Kind.CODES, Kind.FLAG}:
            self._fail(where, "holds dates or numbers, which have no words of their own")
        words = self._words(raw["values"], column, f"{here}values.")
        for word, code in words.items():
            self._code(table, column, code, f'{where}."{word}"')
        return {word.strip().casefold(): code for word, code in words.items()}

    def _tick(self, raw: Mapping[str, Any], table: str, here: str) -> Tick:
        self._known(raw, ("column", "head", "code", "yes", "no"), here)
        column = self._text(raw, "column", here, None)
        lists = [c.name for c in INCOMING[table].columns if c.kind is Kind.CODES]
        if column not in lists:
            self._fail(
                f"{here}column",
                f"{column!r} holds no list of codes; in {table} these do: "
                f"{', '.join(lists) or 'none'}",
            )
        yes = {w.strip().casefold() for w in self._texts(raw, "yes", here, YES)}
        no = {w.strip().casefold() for w in self._texts(raw, "no", here, NO)}
        both = sorted(yes & no)
        if both:
            self._fail(f"{here}no", f"{both[0]!r} is listed under yes as well")
        return Tick(
            column,
            self._text(raw, "head", here, None),
            self._text(raw, "code", here, None),
            frozenset(yes),
            frozenset(no),
        )

    def _column(self, table: str, column: str, where: str) -> None:
        known = [c.name for c in (*INCOMING[table].columns, *ON_EVERY_ROW)]
        if column not in known:
            self._fail(where, f"{column!r} is no column of {table}; known are {', '.join(known)}")

    def _code(self, table: str, column: str, code: str, where: str) -> None:
        allowed = next((c.allowed for c in INCOMING[table].columns if c.name == column), ())
        if allowed and code not in allowed:
            self._fail(where, f"{code!r} is not one of {', '.join(allowed)}")

    def _words(self, raw: Mapping[str, Any], key: str, here: str) -> Mapping[str, str]:
        block = self._block(raw, key, here)
        for word, value in block.items():
            if not isinstance(value, str) or not value.strip():
                self._fail(f'{here}{key}."{word}"', "needs a text in quotation marks")
        return {word: value.strip() for word, value in block.items()}

    def _block(self, raw: Mapping[str, Any], key: str, here: str) -> Mapping[str, Any]:
        value = raw.get(key, {})
        if not isinstance(value, dict):
            self._fail(f"{here}{key}", f"write it as a table that starts with [{here}{key}]")
        return value

    def _text(self, raw: Mapping[str, Any], key: str, here: str, default: str | None) -> str:
        value = raw.get(key, default)
        if not isinstance(value, str) or (key in raw and not value.strip()):
            self._fail(f"{here}{key}", "needs a text in quotation marks")
        return value.strip()

    def _texts(
        self, raw: Mapping[str, Any], key: str, here: str, default: Sequence[str]
    ) -> tuple[str, ...]:
        value = raw.get(key, list(default))
        if not isinstance(value, list) or not all(isinstance(v, str) and v.strip() for v in value):
            self._fail(f"{here}{key}", 'needs a list of texts, such as ["yes", "x"]')
        return tuple(value)

    def _whole(self, raw: Mapping[str, Any], key: str, here: str, default: int, low: int) -> int:
        value = raw.get(key, default)
        if type(value) is not int or not low <= value <= 100:
            self._fail(f"{here}{key}", f"needs a whole number from {low} to 100")
        return value

    def _known(self, raw: Mapping[str, Any], known: Sequence[str], here: str) -> None:
        for key in raw:
            if key not in known:
                self._fail(f"{here}{key}", f"is not known here; known are {', '.join(known)}")

    def _fail(self, where: str, why: str) -> NoReturn:
        raise ProfileError(f"{self.file}, {where}: {why}.")
