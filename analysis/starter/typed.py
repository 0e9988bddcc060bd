"""How are paper diaries typed: the columns of the workbook, and the source profile that reads it?"""

from __future__ import annotations

from analysis.ingest.profile import NO, YES, Profile, TableProfile, Tick
from analysis.policy import Edition
from analysis.starter.diary import warnings_and_others
from analysis.starter.sheets import TIME_OF_DAY, Head, Sheet
from analysis.starter.texts import Texts
from analysis.tables.incoming import HOME_LOG
from analysis.tables.kinds import Kind
from analysis.vocabulary import NOTHING_SEEN

SOURCE = "home diary"
"""Name of the source of typed diaries."""
SHEET = "diary"
_FIRST = ("line_id", "family_id", "caregiver_id", "done_at")
_WORDS = ("kind", "change_reason", "dressing_type", "dressing_condition")
_COLOURS = {"findings": "#F6E3DF", "steps_missed": "#E2EEDF"}
_LAST = ("kits_left", "note", "entry_id")


def ticks(texts: Texts, edition: Edition) -> list[Tick]:
    """The columns with one box each, in the order of the printed page."""
    yes = frozenset({*YES, texts["words.tick"].strip().casefold()})
    no = frozenset(NO) - yes
    warnings, others = warnings_and_others(edition)
    boxes = [
        *(("findings", f"words.findings.{code}", code) for code in warnings),
        ("findings", "words.nothing_seen", NOTHING_SEEN),
        *(("findings", f"words.findings.{code}", code) for code in others),
        ("steps_missed", "words.no_step_missed", NOTHING_SEEN),
        *(("steps_missed", f"words.steps_missed.{code}", code) for code in edition.steps),
    ]
    return [Tick(column, texts[name], code, yes, no) for column, name, code in boxes]


def diary_sheet(texts: Texts, edition: Edition) -> Sheet:
    """The sheet in which diaries are typed: one row for each thing done."""
    required = {c.name for c in HOME_LOG.columns if c.required}
    heads = [_head(texts, name, required) for name in _FIRST]
    heads.append(Head(texts["heads.time"], texts["help.time"], number_format=TIME_OF_DAY))
    heads += [_head(texts, name, required) for name in _WORDS]
    heads += [
        Head(
            tick.head,
            texts["help.tick"],
            allowed=(texts["words.tick"],),
            colour=_COLOURS[tick.column],
            upright=True,
        )
        for tick in ticks(texts, edition)
    ]
    last = [_head(texts, name, required) for name in _LAST]
    return Sheet(SHEET, [*heads, *last], frozen=len(_FIRST) + 2)


def _head(texts: Texts, name: str, required: set[str]) -> Head:
    column = HOME_LOG[name]
    kind = Kind.DATE if column.kind is Kind.INSTANT else column.kind  # the time has its own column
    words = tuple(texts.words(name).values())
    name_and_help = texts[f"heads.{name}"], texts[f"help.{name}"]
    return Head(*name_and_help, kind, words, column.low, column.high, name in required)


def diary_profile(texts: Texts, edition: Edition) -> Profile:
    """The source profile that reads the sheet without a question."""
    sheet = diary_sheet(texts, edition)
    looks = TableProfile(
        header=tuple(head.name for head in sheet.heads),
        heads={texts[f"heads.{name}"]: name for name in (*_FIRST, *_WORDS, *_LAST)},
        times={"done_at": texts["heads.time"]},
        values={
            column: {word.strip().casefold(): code for code, word in texts.words(column).items()}
            for column in _WORDS
        },
        ticks=tuple(ticks(texts, edition)),
    )
    return Profile(SOURCE, tables={HOME_LOG.name: looks})
