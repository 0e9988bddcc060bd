"""How does a table look as text, in the canonical form and in a source's own words?

The heads and words of a source are read from its profile, turned round, so that file and
profile cannot disagree.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.tables import INCOMING, Kind
from analysis.tables.incoming import ON_EVERY_ROW
from analysis.vocabulary import NOTHING_SEEN

Cells = dict[str, pa.Array]
"""Columns of text by head, null where blank."""


@dataclass(frozen=True)
class Tick:
    """A column of theirs that stands for one code."""

    column: str
    head: str
    code: str


@dataclass(frozen=True)
class Source:
    """A source's own heads and words, by ours."""

    file: str
    text: str
    heads: Mapping[str, str]
    words: Mapping[str, Mapping[str, str]]
    ticks: tuple[Tick, ...]
    skip_rows: int
    day_first: bool


def source(file: str) -> Source:
    """Read one of the profiles in the folder of this module."""
    text = resources.files("synthetic_data").joinpath(file).read_text("utf-8")
    raw: dict[str, Any] = tomllib.loads(text)
    table = raw["table"]["home_log"]
    return Source(
        file=file,
        text=text,
        heads={column: head for head, column in table["heads"].items()},
        words={
            column: {ours: theirs for theirs, ours in words.items()}
            for column, words in table.get("values", {}).items()
        },
        ticks=tuple(Tick(t["column"], t["head"], t["code"]) for t in table.get("ticks", [])),
        skip_rows=table.get("skip_rows", 0),
        day_first=raw.get("date_order") == "dmy",
    )


def canonical_text(frame: pd.DataFrame, table: str) -> Cells:
    """Cells of a table as the canonical files have them."""
    columns = (*INCOMING[table].columns, *ON_EVERY_ROW)
    return {c.name: _text(frame[c.name], c.kind, c.name) for c in columns}


def own_text(cells: Cells, looks: Source) -> Cells:
    """Canonical cells of `home_log` under a source's heads and in its words."""
    ticked = {t.column for t in looks.ticks}
    out: Cells = {}
    for column, head in looks.heads.items():
        if column in ticked:
            continue
        found = cells[column]
        if column in looks.words:
            found = _translated(found, looks.words[column])
        if looks.day_first and column == "done_at":
            found = pc.replace_substring_regex(found, r"^(\d{4})-(\d\d)-(\d\d)$", r"\3/\2/\1")
        out[head] = found
    for tick in looks.ticks:
        out[tick.head] = _ticks(cells[tick.column], tick.code)
    return out


def _text(column: pd.Series[Any], kind: Kind, name: str) -> pa.Array:
    if kind in {Kind.TEXT, Kind.CODES}:
        return pa.array(column, pa.string())
    if kind is Kind.CODE:
        codes = pa.array(column.cat.codes.to_numpy(), mask=column.isna().to_numpy())
        return pa.array(list(column.cat.categories), pa.string()).take(codes)
    if kind is Kind.COUNT:
        return pa.array(column, pa.int64()).cast(pa.string())
    if kind is Kind.FLAG:
        return pc.if_else(pa.array(column), pa.scalar("yes"), pa.scalar(None, pa.string()))
    moments = pa.array(column).cast(pa.timestamp("s"))
    day = moments.cast(pa.date32()).cast(pa.string())
    if kind is Kind.DATE:
        return day
    if kind is Kind.MONTH:
        return pc.utf8_slice_codeunits(day, 0, 7)
    minute = pc.strftime(moments, format="%Y-%m-%dT%H:%M")
    if name == "received_at":
        return pc.binary_join_element_wise(minute, "Z", "")
    midnight = pc.equal(moments, moments.cast(pa.date32()).cast(pa.timestamp("s")))
    return pc.if_else(midnight, day, minute)


def _translated(cells: pa.Array, words: Mapping[str, str]) -> pa.Array:
    encoded = cells.dictionary_encode()
    theirs = [words[word] for word in encoded.dictionary.to_pylist()]
    return pa.array(theirs, pa.string()).take(encoded.indices)


def _ticks(cells: pa.Array, code: str) -> pa.Array:
    """``yes`` where the code is in the list, ``no`` where the list is without it."""
    encoded = cells.dictionary_encode()
    answers = [
        "yes" if code in text.split(";") and text != NOTHING_SEEN else "no"
        for text in encoded.dictionary.to_pylist()
    ]
    return pa.array(answers, pa.string()).take(encoded.indices)
