"""What does a call list hold: families in calling order, their reasons, the rows that prove them?"""

from __future__ import annotations

from analysis.tables.columns import Column, Frame, Kind
from analysis.vocabulary import Band, Reason

CALL_FAMILIES = Frame(
    "call_families",
    "one row a family to call, waiting after a call or set aside, in calling order",
    (
        Column(
            "rank", Kind.COUNT, "place in the calling order, 1 first", blank="waiting or set aside"
        ),
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("band", Kind.CODE, "how soon to call", allowed=tuple(Band)),
        Column("reasons", Kind.CODES, "reason codes, most urgent first", blank="none left"),
        Column("sentence", Kind.TEXT, "the reasons in plain words", blank="none left"),
        Column("line_ids", Kind.CODES, "lines that give a reason", blank="none left"),
        Column(
            "days_overdue",
            Kind.COUNT,
            "most days any dressing of the family is overdue or compromised",
            "days",
        ),
        Column("n_reasons", Kind.COUNT, "different reasons", "reasons"),
        Column("silent_days", Kind.COUNT, "days since the family was last heard from", "days"),
        Column(
            "last_heard_on",
            Kind.DATE,
            "day of the newest home-log entry",
            blank="never heard from",
        ),
        Column("nurse", Kind.CODES, "caseload holders of its lines at home", blank="not recorded"),
        Column("site", Kind.CODES, "sites of its lines at home", blank="no line at home"),
        Column(
            "recheck_on",
            Kind.DATE,
            "day from which it is listed again",
            blank="it neither waits nor is set aside",
        ),
        Column("call_row", Kind.COUNT, "recorded call it waits on; -1: none"),
        Column("aside_row", Kind.COUNT, "arrangement that sets it aside; -1: none"),
        Column("assigned_to", Kind.TEXT, "who makes the next call", blank="not assigned"),
        Column(
            "expected_share",
            Kind.NUMBER,
            "like mornings that were followed by an event within 7 days, by the fitted order",
            "share from 0 to 1",
            blank="waiting, set aside, or the rule order is in use",
        ),
    ),
    key=("family_id",),
)

PRINTED = (
    *("rank", "family_id", "band", "reasons", "sentence", "line_ids", "days_overdue"),
    *("last_heard_on", "nurse", "site"),
)
"""Columns of a call list that is printed or taken out as a table."""

CALLS_DONE = Frame(
    "calls_done",
    "one row a call recorded on the day and not taken back, newest first",
    (
        Column("row", Kind.COUNT, "number of the recorded call"),
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("made_at", Kind.INSTANT, "when it was recorded", "UTC"),
        Column("made_by", Kind.TEXT, "staff code of who called"),
        Column("reached", Kind.FLAG, "whether somebody was spoken to"),
        Column("agreed", Kind.TEXT, "what was agreed", blank="nothing written"),
        Column("recheck_on", Kind.DATE, "day from which the family is listed again"),
        Column("band", Kind.CODE, "where the family stands now", allowed=tuple(Band)),
    ),
    key=("row",),
)

CALL_REASONS = Frame(
    "call_reasons",
    "one row a family, line and reason",
    (
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("line_id", Kind.TEXT, "line it speaks of", blank="the whole family"),
        Column("reason", Kind.CODE, "reason code", allowed=tuple(Reason)),
        Column("band", Kind.CODE, "band the reason alone would give", allowed=tuple(Band)),
        Column("sentence", Kind.TEXT, "the reason in plain words"),
    ),
)

CALL_EVIDENCE = Frame(
    "call_evidence",
    "one row a stored row that proves a reason",
    (
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("line_id", Kind.TEXT, "line it speaks of", blank="the whole family"),
        Column("reason", Kind.CODE, "reason code", allowed=tuple(Reason)),
        Column("table", Kind.TEXT, "table of the stored row"),
        Column("row", Kind.COUNT, "number of the stored row"),
    ),
)
