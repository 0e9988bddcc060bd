"""Which tables come in from clinics and families, and what does each column mean?

The entries say what a file may hold. As read back from the store each frame has, besides
these columns, the columns of `PROVENANCE`; `home_log` has its moments split (see
`records`).
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from analysis.tables.columns import Column, Frame, Kind
from analysis.vocabulary import (
    ChangeReason,
    DressingCondition,
    DressingType,
    EntryKind,
    LineType,
    OutcomeKind,
    Place,
    Relation,
    RemovalReason,
    SignOffKind,
    SignOffOutcome,
    Skill,
    Therapy,
)

NOT_RECORDED = "not recorded"


def _words(words: type[StrEnum]) -> tuple[str, ...]:
    return tuple(str(w) for w in words)


def _text(name: str, meaning: str, *, required: bool = False) -> Column:
    return Column(
        name, Kind.TEXT, meaning, blank=None if required else NOT_RECORDED, required=required
    )


def _code(name: str, meaning: str, words: type[StrEnum], *, required: bool = False) -> Column:
    return Column(
        name,
        Kind.CODE,
        meaning,
        blank=None if required else NOT_RECORDED,
        allowed=_words(words),
        required=required,
    )


LINES = Frame(
    "lines",
    "one row a central venous line of the clinic's registry",
    (
        _text("line_id", "code of the line", required=True),
        _text("child_id", "code of the child, never a name", required=True),
        _text("family_id", "code of the family, never a name", required=True),
        _text("site", "clinic or team that follows the line", required=True),
        _text("nurse", "holder of the caseload"),
        _code("line_type", "kind of line", LineType, required=True),
        Column("lumens", Kind.COUNT, "channels of the line", "lumens", NOT_RECORDED, low=1, high=5),
        Column("placed_on", Kind.DATE, "day the line was placed", required=True),
        Column("home_from", Kind.DATE, "first day at home with it", required=True),
        Column("removed_on", Kind.DATE, "day the line was taken out", blank="still in place"),
        _code("removal_reason", "why it was taken out", RemovalReason),
        Column(
            "left_on",
            Kind.DATE,
            "day the family left the programme with the line in",
            blank="still in the programme",
        ),
        _code("dressing_type", "what covers the exit site", DressingType, required=True),
        Column(
            "change_every_days",
            Kind.COUNT,
            "order for this line: days between dressing changes",
            "days",
            "no order: the policy's interval",
            low=1,
            high=31,
        ),
        Column(
            "dressing_on",
            Kind.DATE,
            "last dressing change before coming home",
            blank=NOT_RECORDED,
        ),
        Column(
            "flush_every_days",
            Kind.COUNT,
            "order for this line: days between flushes",
            "days",
            "no order",
            low=1,
            high=31,
        ),
        Column("born", Kind.MONTH, "month of birth, for age bands", blank=NOT_RECORDED),
        _code("therapy", "what the line is for", Therapy),
        Column(
            "kit_delivery_days",
            Kind.COUNT,
            "days between supply deliveries",
            "days",
            NOT_RECORDED,
            low=1,
            high=366,
        ),
        _text("language", "language to call the family in; for roles that call"),
        _text("contact", "how to reach the family; for roles that call"),
    ),
    key=("line_id",),
)

STAYS = Frame(
    "stays",
    "one row a run of nights a child slept away from home",
    (
        _text("child_id", "code of the child", required=True),
        Column("from_on", Kind.DATE, "first night away", required=True),
        Column("to_on", Kind.DATE, "first night back at home", blank="still away"),
        _code("place", "where the child slept", Place),
        Column("dressing_on", Kind.DATE, "last dressing change done there", blank=NOT_RECORDED),
    ),
    key=("child_id", "from_on"),
)

CAREGIVERS = Frame(
    "caregivers",
    "one row a person who cares for a line at home",
    (
        _text("caregiver_id", "code of the caregiver, never a name", required=True),
        _text("family_id", "code of the family", required=True),
        _code("relation", "who it is to the child", Relation),
    ),
    key=("caregiver_id",),
)

SIGN_OFFS = Frame(
    "sign_offs",
    "one row a return demonstration of one skill by one caregiver",
    (
        _text("caregiver_id", "code of the caregiver", required=True),
        _code("skill", "what was shown", Skill, required=True),
        Column("signed_on", Kind.DATE, "day it was shown", required=True),
        _code("outcome", "how it went", SignOffOutcome, required=True),
        _code("kind", "first training or refresher", SignOffKind),
    ),
    key=("caregiver_id", "skill", "signed_on"),
)

HOME_LOG = Frame(
    "home_log",
    "one row an entry of a family's log",
    (
        _text("entry_id", "the sender's own number; a later row with it corrects this one"),
        _text("line_id", "code of the line (or family_id, where it has one line that day)"),
        _text("family_id", "code of the family"),
        _text("caregiver_id", "who did it"),
        Column(
            "done_at", Kind.INSTANT, "day or moment it was done", "day or moment", required=True
        ),
        _code("kind", "what the entry reports", EntryKind, required=True),
        _code("change_reason", "why the dressing was changed", ChangeReason),
        _code("dressing_type", "dressing put on", DressingType),
        _code("dressing_condition", "dressing as found", DressingCondition),
        Column(
            "findings", Kind.CODES, "what was seen; 'none': looked, saw nothing", blank=NOT_RECORDED
        ),
        Column(
            "steps_missed",
            Kind.CODES,
            "steps left out; 'none': every step done",
            blank=NOT_RECORDED,
        ),
        Column(
            "kits_left",
            Kind.COUNT,
            "dressing kits in the house",
            "kits",
            NOT_RECORDED,
            low=0,
            high=1000,
        ),
        _text("note", "free text, never interpreted"),
    ),
    key=("entry_id",),
)

OUTCOMES = Frame(
    "outcomes",
    "one row a harm confirmed by the clinic",
    (
        _text("child_id", "code of the child", required=True),
        _text("line_id", "code of the line", required=True),
        _code("outcome", "kind of harm", OutcomeKind, required=True),
        Column("onset_on", Kind.DATE, "first day of it", required=True),
        Column("confirmed_on", Kind.DATE, "day the clinic confirmed it", blank=NOT_RECORDED),
    ),
    key=("child_id", "line_id", "outcome", "onset_on"),
)

INCOMING: Mapping[str, Frame] = {
    f.name: f for f in (LINES, STAYS, CAREGIVERS, SIGN_OFFS, HOME_LOG, OUTCOMES)
}
"""The tables that come in, in the order in which a folder of files is read."""

ON_EVERY_ROW = (
    Column("received_at", Kind.INSTANT, "when the clinic got the row", blank="moment of ingest"),
    Column("void", Kind.FLAG, "yes withdraws the row from then on", blank="no"),
)
"""Columns that every incoming table may carry."""
