"""Which fields do the tables of records have: files that come in, recorded calls, arrangements?

A field whose sensitivity is not stated is closed: no plain export, page or message shows it.
"""

from __future__ import annotations

from analysis.tables.kinds import Field, Kind, Sensitivity
from analysis.vocabulary import (
    Arrangement,
    CallOutcome,
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

PLAIN, DATE, CODE, STAFF = Sensitivity.PLAIN, Sensitivity.DATE, Sensitivity.CODE, Sensitivity.STAFF
FREE_TEXT = Sensitivity.FREE_TEXT

RECORDS = (
    Field("line_id", Kind.TEXT, "code of the line", sensitivity=CODE),
    Field("child_id", Kind.TEXT, "code of the child, never a name", sensitivity=CODE),
    Field("family_id", Kind.TEXT, "code of the family, never a name", sensitivity=CODE),
    Field(
        "site",
        Kind.TEXT,
        "clinic or team that follows the line; several joined by ;",
        sensitivity=CODE,
    ),
    Field("nurse", Kind.TEXT, "holder of the caseload; several joined by ;", sensitivity=STAFF),
    Field("line_type", Kind.CODE, "kind of line", allowed=tuple(LineType), sensitivity=PLAIN),
    Field("lumens", Kind.COUNT, "channels of the line", "lumens", low=1, high=5, sensitivity=PLAIN),
    Field("placed_on", Kind.DATE, "day the line was placed", sensitivity=DATE),
    Field("home_from", Kind.DATE, "first day at home with the line", sensitivity=DATE),
    Field("removed_on", Kind.DATE, "day the line was removed", sensitivity=DATE),
    Field(
        "removal_reason",
        Kind.CODE,
        "why it was removed",
        allowed=tuple(RemovalReason),
        sensitivity=PLAIN,
    ),
    Field(
        "left_on", Kind.DATE, "day the family left the programme with the line in", sensitivity=DATE
    ),
    Field(
        "dressing_type",
        Kind.CODE,
        "type of dressing",
        allowed=tuple(DressingType),
        sensitivity=PLAIN,
    ),
    Field(
        "change_every_days",
        Kind.COUNT,
        "order for this line: days between dressing changes",
        "days",
        low=1,
        high=31,
        sensitivity=PLAIN,
    ),
    Field(
        "dressing_on",
        Kind.DATE,
        "last dressing change by the clinic before the child came home",
        sensitivity=DATE,
    ),
    Field(
        "flush_every_days",
        Kind.COUNT,
        "order for this line: days between flushes",
        "days",
        low=1,
        high=31,
        sensitivity=PLAIN,
    ),
    Field("born", Kind.MONTH, "month of birth, for age bands", sensitivity=Sensitivity.BIRTH),
    Field("therapy", Kind.CODE, "what the line is for", allowed=tuple(Therapy), sensitivity=PLAIN),
    Field(
        "kit_delivery_days",
        Kind.COUNT,
        "days between supply deliveries",
        "days",
        low=1,
        high=366,
        sensitivity=PLAIN,
    ),
    Field(
        "language",
        Kind.TEXT,
        "language to call the family in; for roles that call",
        sensitivity=Sensitivity.LANGUAGE,
    ),
    Field(
        "contact",
        Kind.TEXT,
        "how to reach the family; for roles that call",
        sensitivity=Sensitivity.CONTACT,
    ),
    Field(
        "valid_from",
        Kind.DATE,
        "day from which this version's order, dressing type, site, nurse and family hold",
        sensitivity=DATE,
    ),
    Field("from_on", Kind.DATE, "first night away", sensitivity=DATE),
    Field("to_on", Kind.DATE, "first night back at home", sensitivity=DATE),
    Field("place", Kind.CODE, "where the child slept", allowed=tuple(Place), sensitivity=PLAIN),
    Field("caregiver_id", Kind.TEXT, "code of the caregiver, never a name", sensitivity=CODE),
    Field(
        "relation", Kind.CODE, "relation to the child", allowed=tuple(Relation), sensitivity=PLAIN
    ),
    Field("skill", Kind.CODE, "what was demonstrated", allowed=tuple(Skill), sensitivity=PLAIN),
    Field("signed_on", Kind.DATE, "day of the demonstration", sensitivity=DATE),
    Field(
        "outcome",
        Kind.CODE,
        "how it went",
        allowed=tuple(SignOffOutcome),
        sensitivity=PLAIN,
        only_in=("sign_offs",),
    ),
    Field(
        "kind",
        Kind.CODE,
        "first training or refresher",
        allowed=tuple(SignOffKind),
        sensitivity=PLAIN,
        only_in=("sign_offs",),
    ),
    Field(
        "entry_id",
        Kind.TEXT,
        "the sender's own number; a later row with it corrects this one",
        sensitivity=CODE,
    ),
    Field("done_at", Kind.INSTANT, "moment it was done", "UTC", sensitivity=DATE),
    Field(
        "kind",
        Kind.CODE,
        "what the entry reports",
        allowed=tuple(EntryKind),
        sensitivity=PLAIN,
        only_in=("home_log",),
    ),
    Field(
        "change_reason",
        Kind.CODE,
        "why the dressing was changed",
        allowed=tuple(ChangeReason),
        sensitivity=PLAIN,
    ),
    Field(
        "dressing_condition",
        Kind.CODE,
        "dressing as found",
        allowed=tuple(DressingCondition),
        sensitivity=PLAIN,
    ),
    Field(
        "findings", Kind.CODES, "what was seen; 'none': checked, nothing seen", sensitivity=PLAIN
    ),
    Field("steps_missed", Kind.CODES, "steps left out; 'none': every step done", sensitivity=PLAIN),
    Field(
        "kits_left",
        Kind.COUNT,
        "dressing kits counted in the house",
        "kits",
        low=0,
        high=1000,
        sensitivity=PLAIN,
    ),
    Field("note", Kind.TEXT, "free text, never interpreted", sensitivity=FREE_TEXT),
    Field("outcome", Kind.CODE, "kind of harm", allowed=tuple(OutcomeKind), sensitivity=PLAIN),
    Field("onset_on", Kind.DATE, "first day of it", sensitivity=DATE),
    Field("confirmed_on", Kind.DATE, "day the clinic confirmed it", sensitivity=DATE),
    Field(
        "row",
        Kind.COUNT,
        "number of the stored row that it rests on; -1: none",
        low=-1,
        sensitivity=PLAIN,
        identity=False,
    ),
    Field(
        "received_at",
        Kind.INSTANT,
        "when the clinic got the row",
        "UTC",
        sensitivity=DATE,
        identity=False,
    ),
    Field("void", Kind.FLAG, "yes voids the row from then on", sensitivity=PLAIN, identity=False),
    Field("done_on", Kind.DATE, "day it was done, in the programme's time zone", sensitivity=DATE),
    Field("made_at", Kind.INSTANT, "when it was recorded", "UTC", sensitivity=DATE),
    Field("made_on", Kind.DATE, "its day in the programme's zone", sensitivity=DATE),
    Field("made_by", Kind.TEXT, "staff code of the person who recorded it", sensitivity=STAFF),
    Field("called_at", Kind.INSTANT, "moment of the call", "UTC", sensitivity=DATE),
    Field(
        "called_on", Kind.DATE, "day of the call, in the programme's time zone", sensitivity=DATE
    ),
    Field("called_by", Kind.TEXT, "staff code of the person who called", sensitivity=STAFF),
    Field(
        "outcome",
        Kind.CODE,
        "whether the family was reached",
        allowed=tuple(CallOutcome),
        sensitivity=PLAIN,
        only_in=("calls", "all_calls", "calls_done"),
    ),
    Field("agreed", Kind.TEXT, "what was agreed", sensitivity=FREE_TEXT),
    Field(
        "recheck_on", Kind.DATE, "day from which the family is on the list again", sensitivity=DATE
    ),
    Field(
        "kind",
        Kind.TEXT,
        "what was arranged",
        allowed=tuple(Arrangement),
        sensitivity=PLAIN,
        only_in=("arrangements", "all_arrangements"),
    ),
    Field("assigned_to", Kind.TEXT, "who makes the next call", sensitivity=STAFF),
    Field(
        "until_on", Kind.DATE, "day from which the family is on the list again", sensitivity=DATE
    ),
    Field("why", Kind.TEXT, "why the family is postponed", sensitivity=FREE_TEXT),
)
