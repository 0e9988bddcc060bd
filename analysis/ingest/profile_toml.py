"""How is a source profile written as TOML?"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from analysis.ingest.moments import DateOrder
from analysis.ingest.profile import NO, YES, Profile, TableProfile, Tick


def as_toml(profile: Profile) -> str:
    """A profile's text; reading it gives the same profile.

    Examples
    --------
    >>> print(as_toml(Profile("ward", encoding="cp1252")), end="")
    name = "ward"
    encoding = "cp1252"
    """
    lines = [f"name = {_text(profile.name)}"]
    if profile.dates.order is not DateOrder.ISO:
        lines.append(f"date_order = {_text(profile.dates.order)}")
    if profile.dates.short_years:
        lines.append("short_years = true")
    for key, value in (
        ("day_numbers", profile.dates.day_numbers),
        ("decimal_mark", profile.decimal_mark),
        ("time_zone", profile.time_zone),
    ):
        if value:
            lines.append(f"{key} = {_text(value)}")
    if profile.encoding != "utf-8":
        lines.append(f"encoding = {_text(profile.encoding)}")
    for table, looks in profile.tables.items():
        lines += ["", *_table(table, looks)]
    return "\n".join(lines) + "\n"


def _table(table: str, looks: TableProfile) -> Iterable[str]:
    yield f"[table.{table}]"
    yield from _settings(looks)
    for key, words in (("heads", looks.heads), ("times", looks.times), ("fixed", looks.fixed)):
        yield from _block(f"table.{table}.{key}", words)
    if looks.separators:
        yield f"[table.{table}.separators]"
        yield from (f"{_text(c)} = {_list(marks)}" for c, marks in looks.separators.items())
    for column, words in looks.values.items():
        yield from _block(f"table.{table}.values.{column}", words)
    for tick in looks.ticks:
        yield from _tick(table, tick)


def _settings(looks: TableProfile) -> Iterable[str]:
    """Keys of a table that hold one text, number or list."""
    for key, texts in (
        ("names", looks.names),
        ("header", looks.header),
        ("footer", looks.footer),
        ("resource", looks.resource),
    ):
        if texts:
            yield f"{key} = {_list(texts)}"
    for key, number, usual in (
        ("skip_rows", looks.skip_rows, 0),
        ("head_rows", looks.head_rows, 1),
    ):
        if number != usual:
            yield f"{key} = {number}"
    for key, text in (
        ("sheet_name", looks.sheet_name),
        ("day_columns", looks.day_columns),
        ("where", looks.where),
    ):
        if text:
            yield f"{key} = {_text(text)}"


def _block(name: str, words: Mapping[str, str]) -> Iterable[str]:
    if words:
        yield f"[{name}]"
        yield from (f"{_text(word)} = {_text(value)}" for word, value in words.items())


def _tick(table: str, tick: Tick) -> Iterable[str]:
    yield f"[[table.{table}.ticks]]"
    yield f"column = {_text(tick.column)}"
    yield f"head = {_text(tick.head)}"
    yield f"code = {_text(tick.code)}"
    if tick.yes != frozenset(YES):
        yield f"yes = {_list(sorted(tick.yes))}"
    if tick.no != frozenset(NO):
        yield f"no = {_list(sorted(tick.no))}"


def _text(text: str) -> str:
    """A basic string: JSON writes the same escapes, and DEL apart leaves nothing to escape."""
    return json.dumps(str(text), ensure_ascii=False).replace("\x7f", "\\u007f")


def _list(texts: Iterable[str]) -> str:
    return f"[{', '.join(_text(text) for text in texts)}]"
