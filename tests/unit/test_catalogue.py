"""Each field is defined once, every frame names fields of the catalogue, and checks what it holds."""

from __future__ import annotations

import importlib
import pkgutil
from collections import defaultdict
from dataclasses import fields as parts_of

import pandas as pd
import pytest

import analysis
from analysis.exports import Table, without
from analysis.ingest.sentences import row_sentence
from analysis.tables import KNOWN, Column, Field, Frame, FrameError, Kind, Sensitivity
from analysis.tables.fields import FIELDS, field_of
from analysis.tables.incoming import ON_EVERY_ROW
from analysis.vocabulary import Private

ELSEWHERE = {"by", "task", "event", "received_on", *(column.name for column in ON_EVERY_ROW)}
"""Fields that exports and files add to the columns of a frame."""


def frames_of_the_program() -> list[Frame]:
    """Every frame that a module of the program names."""
    found: dict[int, Frame] = {}
    for module in pkgutil.walk_packages(analysis.__path__, "analysis."):
        if module.name.endswith("__main__") or ".migrations" in module.name:
            continue
        for value in vars(importlib.import_module(module.name)).values():
            several = value.values() if isinstance(value, dict) else [value]
            found |= {id(one): one for one in several if isinstance(one, Frame)}
    return list(found.values())


FRAMES = frames_of_the_program()


def test_every_column_of_every_frame_is_a_field_of_the_catalogue() -> None:
    assert len(FRAMES) > 70
    own = {"meaning", "allowed"}
    different = []
    for frame in FRAMES:
        for column in frame.columns:
            field = field_of(column.name, frame.name)
            same = all(
                getattr(column, part.name) == getattr(field, part.name)
                for part in parts_of(Field)
                if part.name not in own
            )
            narrowed = set(column.allowed) <= set(field.allowed)
            if not (same and narrowed and column.meaning.startswith(field.meaning)):
                different.append((frame.name, column.name))
    assert different == []


def test_every_field_is_a_column_somewhere() -> None:
    used = {(c.name, frame.name if c.only_in else "") for frame in FRAMES for c in frame.columns}
    assert {key for key in FIELDS if key not in used and key[0] not in ELSEWHERE} == set()


def test_a_name_has_two_meanings_only_where_it_is_said_in_which_frames() -> None:
    places = defaultdict(list)
    for name, frame in FIELDS:
        places[name].append(frame)
    assert {name for name, found in places.items() if len(found) > 1} <= {
        *("kind", "outcome", "reason"),  # the file formats give these to several tables
        *("row", "day", "findings", "missed", "scored", "state", "why", "last_row", "at_home"),
    }


def test_a_frame_with_a_name_that_is_no_field_is_not_made() -> None:
    with pytest.raises(KeyError, match="mood is not in the catalogue"):
        Frame.of("visits", "one row a visit", "family_id mood")


def faults_of(name: str, cells: list[object], kind: str, **given: object) -> str:
    """What the check says of a frame of one column."""
    frame = Frame.of("one", "one row a cell", name, **given)  # type: ignore[arg-type]
    with pytest.raises(FrameError) as found:
        frame.check(pd.DataFrame({name: pd.Series(cells, dtype=kind)}))
    return str(found.value)


def test_the_check_finds_words_and_numbers_outside_their_limits() -> None:
    assert "line_type holds balloon" in faults_of("line_type", ["picc", "balloon"], "category")
    assert "lumens is above 5" in faults_of("lumens", [1, 6], "int64")
    assert "lumens is below 1" in faults_of("lumens", [None, 0], "Int64", blank={"lumens": "no"})
    assert "log_coverage is above 1" in faults_of("log_coverage", [0.5, 1.2], "float64")
    assert "ended_by holds removal" in faults_of(
        "ended_by", ["as_of", "removal"], "category", allowed={"ended_by": ("as_of",)}
    )


def test_the_check_passes_limits_blanks_and_words_that_no_row_holds() -> None:
    frame = Frame.of("two", "one row a line", "lumens line_type", otherwise="not recorded")
    lumens = pd.array([1, 5, None], dtype="Int64")
    types = pd.Categorical(["picc", None, "other"], categories=["picc", "other", "balloon"])
    assert len(frame.check(pd.DataFrame({"lumens": lumens, "line_type": types}))) == 3


def test_a_field_is_closed_until_its_sensitivity_is_stated() -> None:
    comfort = Column.of(Field("comfort", Kind.TEXT, "how the child felt"), blank="not recorded")
    assert comfort.sensitivity is Sensitivity.CLOSED
    entry = Frame("log", "one row an entry", (KNOWN["home_log"]["note"], comfort))
    table = Table(entry, pd.DataFrame({"note": ["n"], "comfort": ["c"]}, dtype="string"))

    def names(*asked: Private) -> list[str]:
        return without(table, frozenset(asked)).entry.names

    assert names() == []
    assert names(Private.NOTE) == ["note"]
    assert names(*Private) == ["note", "comfort"]


def test_text_fields_are_private_but_codes_and_the_programs_own_text() -> None:
    shown = {
        (name, column.name)
        for name, entry in KNOWN.items()
        for column in entry.columns
        if column.kind is Kind.TEXT and not column.sensitivity.is_private
    }
    assert {column for _, column in shown} == {
        *("line_id", "child_id", "family_id", "caregiver_id", "entry_id", "site"),
        *("nurse", "made_by", "called_by", "assigned_to", "kind"),
    }


def test_a_message_about_a_refused_row_repeats_nothing_private() -> None:
    for table, column in (("lines", "contact"), ("home_log", "note"), ("lines", "own column")):
        said = row_sentence(table, "a.csv", None, 2, column, "0171 hush", "cell_too_long")
        assert "hush" not in said
    assert "hush" in row_sentence("lines", "a.csv", None, 2, "site", "hush", "cell_too_long")
