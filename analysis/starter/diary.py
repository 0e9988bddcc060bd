"""What is on a page of the home diary: one week, one column a day, one box for each thing to tick?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from analysis.policy import Edition
from analysis.starter.texts import Texts
from analysis.vocabulary import DressingType, EntryKind, FindingMark, Task


class Paper(StrEnum):
    """Sizes of paper."""

    A4 = "a4"
    LETTER = "letter"


HEIGHTS_MM = {Paper.A4: 297.0, Paper.LETTER: 279.4}
"""*Source:* ISO 216 (A4) and ANSI/ASME Y14.1 (Letter, 11 in), from memory."""
_AROUND_MM = 127.0
"""What the page has around the rows of boxes: margins, heads, the rows to write in, notes."""
_LOWEST_ROW_MM, _HIGHEST_ROW_MM = 3.1, 6.0


@dataclass(frozen=True)
class Section:
    """Rows of boxes under one title; `is_warning`: they are red flags."""

    title: str
    rows: Sequence[str]
    is_warning: bool = False
    write: bool = False
    """Something is written in each cell, nothing ticked."""
    note: str = ""
    order: bool = False
    """The child's own order is to be filled in behind the note."""


def diary_page(texts: Texts, edition: Edition, dressing: DressingType, paper: Paper) -> str:
    """One week as a self-contained HTML page; print as many as there are weeks.

    Parameters
    ----------
    texts : Texts
        Every word on it.
    edition : Edition
        Findings, steps and the interval of the dressing.
    dressing : DressingType
        For lines with this dressing.
    paper : Paper
        Size of the sheet.
    """
    sections = _sections(texts, edition, dressing)
    rows = sum(len(section.rows) for section in sections if not section.write)
    height = (HEIGHTS_MM[paper] - _AROUND_MM) / max(rows, 1)
    return (
        _templates()
        .get_template("diary.html")
        .render(
            texts=texts,
            paper=paper,
            subtitle=_named(texts, dressing),
            sections=sections,
            row_mm=round(min(max(height, _LOWEST_ROW_MM), _HIGHEST_ROW_MM), 2),
        )
    )


def _named(texts: Texts, dressing: DressingType) -> str:
    if dressing is DressingType.NONE:
        return texts["diary.no_dressing"]
    return f"{texts['diary.dressing']}: {texts.words('dressing_type')[dressing]}"


def _sections(texts: Texts, edition: Edition, dressing: DressingType) -> list[Section]:
    """The sections of the page; without a dressing there is none on its changes."""
    words, kinds = texts.words("findings"), texts.words("kind")
    warnings, others = warnings_and_others(edition)
    found = [
        Section(
            texts["diary.warning_signs"],
            [words[code] for code in warnings],
            is_warning=True,
        ),
        Section(
            texts["diary.skin"], [texts["words.nothing_seen"], *(words[code] for code in others)]
        ),
    ]
    if dressing is not DressingType.NONE:
        found += [
            Section(
                texts["diary.dressing"],
                _dressing_rows(texts),
                note=_interval(texts, edition, dressing),
                order=True,
            ),
            Section(
                texts["diary.steps"],
                [texts["words.no_step_missed"], *texts.words("steps_missed").values()],
            ),
        ]
    care = (EntryKind.CONNECTOR_CHANGE, EntryKind.FLUSH)
    port = (EntryKind.PORT_ACCESSED, EntryKind.NEEDLE_CHANGE, EntryKind.PORT_DEACCESSED)
    found += [
        Section(texts["diary.other_care"], [kinds[kind] for kind in care]),
        Section(texts["diary.port"], [kinds[kind] for kind in port], note=texts["diary.port_how"]),
        Section(
            texts["diary.who"],
            [texts[f"heads.{name}"] for name in ("caregiver_id", "time", "kits_left")],
            write=True,
        ),
    ]
    return found


def warnings_and_others(edition: Edition) -> tuple[list[str], list[str]]:
    """Codes of findings in the order of the page: red flags; then skin events, then what is watched."""
    red = edition.codes_marked(FindingMark.RED_FLAG)
    marked = [
        code
        for mark in (FindingMark.SKIN_EVENT, FindingMark.WATCHED)
        for code in edition.findings
        if mark in edition.findings[code].marks and code not in red
    ]
    return [code for code in edition.findings if code in red], list(dict.fromkeys(marked))


def _dressing_rows(texts: Texts) -> list[str]:
    """How the dressing was found and, if it was changed, why."""
    found, changed = texts["diary.found"], texts["diary.changed"]
    conditions, reasons = texts.words("dressing_condition"), texts.words("change_reason")
    as_found = [word for code, word in reasons.items() if code in conditions]
    others = [word for code, word in reasons.items() if code not in conditions]
    why = [others[0], " / ".join(as_found), *others[1:]]
    return [
        *(f"{found}: {word}" for word in conditions.values()),
        *(f"{changed}: {word}" for word in why),
    ]


def _interval(texts: Texts, edition: Edition, dressing: DressingType) -> str:
    """How often the dressing is changed by the policy."""
    days = edition.interval_days(Task.DRESSING, dressing, None)
    if days is None:
        return texts["diary.change_when_needed"]
    if days == 1:
        return texts["diary.change_one"]
    return texts["diary.change_every"].replace("{days}", str(days))


@cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("analysis.starter"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
