"""How is a source profile read from its TOML text, and what is wrong with one that can't be?"""

from __future__ import annotations

import codecs
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from analysis.ingest.faults import ProfileError
from analysis.ingest.moments import DateOrder, DateStyle, DayNumbers
from analysis.ingest.profile import (
    ENCODINGS,
    NO,
    SHEET_COLUMN,
    YES,
    Profile,
    TableProfile,
    Tick,
)
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW
from analysis.tables.kinds import Kind
from analysis.toml_file import TomlError, parsed, read_plain


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
        text = read_plain(path)
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
    return parse_profile(text, path.name, path.stem)


def parse_profile(text: str, file: str, name: str) -> Profile:
    """Read a source profile from its text; `name` is its name where the text has none.

    Raises
    ------
    ProfileError
        It is not TOML, or a key is unknown or holds what it cannot hold.
    """
    try:
        raw = parsed(text)
    except TomlError as fault:
        raise ProfileError(f"{file}: not valid TOML: {fault}.") from None
    return _Reader(file, name).profile(raw)


_KEYS = (
    "name",
    "date_order",
    "short_years",
    "day_numbers",
    "decimal_mark",
    "time_zone",
    "encoding",
    "table",
)
_TABLE_KEYS = (
    "names",
    "header",
    "skip_rows",
    "head_rows",
    "heads",
    "fixed",
    "values",
    "ticks",
    "separators",
    "times",
    "sheet_name",
    "footer",
    "day_columns",
    "resource",
    "where",
)


def _kind(table: str, column: str) -> Kind:
    return next(c.kind for c in (*INCOMING[table].columns, *ON_EVERY_ROW) if c.name == column)


@dataclass(frozen=True)
class _Reader:
    """One file being read, so that every fault names it and the key."""

    file: str
    stem: str

    def profile(self, raw: Mapping[str, Any]) -> Profile:
        """Turn the parsed TOML into a profile."""
        self._known(raw, _KEYS, "")
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
            dates=DateStyle(
                DateOrder(order),
                short_years=self._flag(raw, "short_years", ""),
                day_numbers=DayNumbers(self._one_of(raw, "day_numbers", "", list(DayNumbers))),
            ),
            decimal_mark=self._one_of(raw, "decimal_mark", "", ["", ".", ","]),
            time_zone=zone,
            encoding=same[0],
            tables={t: self._table(self._block(tables, t, "table."), t) for t in tables},
        )

    def _table(self, raw: Mapping[str, Any], table: str) -> TableProfile:
        here = f"table.{table}."
        self._known(raw, _TABLE_KEYS, here)
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
            separators=self._separators(raw, table, here),
            times=self._times(raw, table, here),
            sheet_name=self._sheet_name(raw, table, here),
            footer=self._texts(raw, "footer", here, ()),
            header=self._texts(raw, "header", here, ()),
            resource=self._texts(raw, "resource", here, ()),
            where=self._text(raw, "where", here, ""),
            **self._day_columns(raw, table, here),
        )

    def _separators(
        self, raw: Mapping[str, Any], table: str, here: str
    ) -> Mapping[str, tuple[str, ...]]:
        lists = [c.name for c in INCOMING[table].columns if c.kind is Kind.CODES]
        marks: dict[str, tuple[str, ...]] = {}
        for column, given in self._block(raw, "separators", here).items():
            where = f"{here}separators.{column}"
            if column not in lists:
                self._fail(where, f"holds no list of codes; these do: {', '.join(lists) or 'none'}")
            several = [given] if isinstance(given, str) else given
            if not isinstance(several, list) or not several:
                self._fail(where, 'needs a text or a list of texts, such as [",", " and "]')
            if not all(isinstance(mark, str) and mark for mark in several):
                self._fail(where, 'needs a text or a list of texts, such as [",", " and "]')
            marks[column] = tuple(several)
        return marks

    def _times(self, raw: Mapping[str, Any], table: str, here: str) -> Mapping[str, str]:
        times = self._words(raw, "times", here)
        moments = [c.name for c in INCOMING[table].columns if c.kind is Kind.INSTANT]
        for column in times:
            if column not in moments:
                listed = ", ".join(moments) or "none"
                self._fail(f"{here}times.{column}", f"is no moment; in {table} these are: {listed}")
        return times

    def _day_columns(self, raw: Mapping[str, Any], table: str, here: str) -> dict[str, str]:
        column = self._text(raw, "day_columns", here, "")
        if not column:
            return {}
        self._column(table, column, f"{here}day_columns")
        dates = [
            c.name
            for c in INCOMING[table].columns
            if c.required and c.kind in {Kind.INSTANT, Kind.DATE} and c.name != column
        ]
        if len(dates) != 1:
            self._fail(f"{here}day_columns", f"{table} has no single date that a head could be")
        return {"day_columns": column, "moment": dates[0]}

    def _sheet_name(self, raw: Mapping[str, Any], table: str, here: str) -> str:
        text = self._text(raw, "sheet_name", here, "")
        if text:
            named = SHEET_COLUMN.findall(text)
            if len(named) != 1:
                self._fail(f"{here}sheet_name", "needs one column in braces, like {family_id}")
            self._column(table, named[0], f"{here}sheet_name")
        return text

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
        coded = [c.name for c in INCOMING[table].columns if c.kind in {Kind.CODES, Kind.CODE}]
        if column not in coded:
            self._fail(
                f"{here}column",
                f"{column!r} holds no codes; in {table} these do: {', '.join(coded) or 'none'}",
            )
        self._code(table, column, self._text(raw, "code", here, None), f"{here}code")
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

    def _flag(self, raw: Mapping[str, Any], key: str, here: str) -> bool:
        value = raw.get(key, False)
        if not isinstance(value, bool):
            self._fail(f"{here}{key}", "needs true or false")
        return value

    def _one_of(self, raw: Mapping[str, Any], key: str, here: str, allowed: Sequence[str]) -> str:
        value = raw.get(key, "")
        if value not in list(allowed):
            shown = ", ".join(f'"{one}"' for one in allowed if one)
            self._fail(f"{here}{key}", f"{value!r} is not one of {shown}")
        return str(value)

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
