"""What does a call list hold: families in calling order, their reasons, the rows that prove them?"""

from __future__ import annotations

from analysis.tables.columns import Frame

CALL_FAMILIES = Frame.of(
    "call_families",
    "one row a family to call, waiting after a call or postponed, in calling order",
    """rank family_id band reasons sentence line_ids days_overdue red_flag_on red_flags n_reasons
    silent_days last_heard_on nurse site recheck_on tried_at tried_on attempt_days attempts call_row
    aside_row assigned_to expected_share""",
    key="family_id",
    blank={
        "rank": "waiting or postponed",
        "reasons sentence line_ids": "none left",
        "last_heard_on": "never heard from",
        "nurse": "not recorded",
        "site": "no line at home",
        "recheck_on": "neither waiting nor postponed",
        "red_flag_on": "none",
        "tried_at tried_on attempts": "no call without an answer",
        "assigned_to": "not assigned",
        "expected_share": "waiting, postponed, or the rule order is in use",
    },
    detail={"nurse site": "of its lines at home"},
)

PRINTED = (
    *("rank", "family_id", "band", "reasons", "sentence", "line_ids", "days_overdue"),
    *("last_heard_on", "nurse", "site"),
)
"""Columns of a call list that is printed or exported as a table."""

CALLS_DONE = Frame.of(
    "calls_done",
    "one row a call of the day that was not undone, newest first",
    "row family_id called_at called_by outcome agreed recheck_on note band",
    key="row",
    blank={
        "agreed note": "nothing written",
        "recheck_on": "the policy's number of days after the call",
    },
    detail={"band": "now"},
)

CALL_REASONS = Frame.of(
    "call_reasons",
    "one row a family, line and reason: the data of the reason and its sentence",
    """family_id line_id reason band names seen_on first_on last_change_on allowed_until
    days_overdue last_heard_on home_since silent_days number out_of kits_left used not_logged
    sentence""",
    blank={
        "line_id": "the whole family",
        "names seen_on first_on last_change_on allowed_until": "not part of this reason",
        "days_overdue last_heard_on home_since silent_days number": "not part of this reason",
        "out_of kits_left used": "not part of this reason",
    },
    detail={
        "line_id": "the line that the reason is about",
        "band": "that the reason alone would give",
    },
)

CALL_EVIDENCE = Frame.of(
    "call_evidence",
    "one row a stored row that proves a reason",
    "family_id line_id reason table row",
    blank={"line_id": "the whole family"},
    detail={"line_id": "the line that the reason is about"},
)
