"""Which tables come in from clinics and families, and what does each column mean?

The entries state what a file may hold. As read back from the store each frame has, besides
these columns, the columns of `PROVENANCE`; `home_log` has its moments split (see
`records`).
"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.tables.columns import Column, Frame
from analysis.tables.fields import field_of

NOT_RECORDED = "not recorded"

LINES = Frame.of(
    "lines",
    "one row a central venous line of the clinic's registry",
    """line_id child_id family_id site nurse line_type lumens placed_on home_from removed_on
    removal_reason left_on dressing_type change_every_days dressing_on flush_every_days born therapy
    kit_delivery_days language contact valid_from""",
    key="line_id",
    blank={
        "removed_on": "still in place",
        "left_on": "still in the programme",
        "change_every_days": "no order: the policy's interval",
        "flush_every_days": "no order",
        "valid_from": "the day it was received; a first version: from the start",
    },
    detail={"dressing_type": "in place by the registry"},
    required="line_id child_id family_id site line_type placed_on home_from dressing_type",
    otherwise=NOT_RECORDED,
)

STAYS = Frame.of(
    "stays",
    "one row a run of nights a child slept away from home",
    "child_id from_on to_on place dressing_on",
    key="child_id from_on",
    blank={"to_on": "still away"},
    required="child_id from_on",
    otherwise=NOT_RECORDED,
)

CAREGIVERS = Frame.of(
    "caregivers",
    "one row a person who cares for a line at home",
    "caregiver_id family_id relation",
    key="caregiver_id",
    required="caregiver_id family_id",
    otherwise=NOT_RECORDED,
)

SIGN_OFFS = Frame.of(
    "sign_offs",
    "one row a return demonstration of one skill by one caregiver",
    "caregiver_id skill signed_on outcome kind",
    key="caregiver_id skill signed_on",
    required="caregiver_id skill signed_on outcome",
    otherwise=NOT_RECORDED,
)

HOME_LOG = Frame.of(
    "home_log",
    "one row an entry of a family's log",
    """entry_id line_id family_id caregiver_id done_at kind change_reason dressing_type
    dressing_condition findings steps_missed kits_left note""",
    key="entry_id",
    detail={
        "line_id": "or family_id, where it has one line that day",
        "caregiver_id": "who did it",
        "dressing_type": "put on",
    },
    required="done_at kind",
    otherwise=NOT_RECORDED,
)

OUTCOMES = Frame.of(
    "outcomes",
    "one row a harm confirmed by the clinic",
    "child_id line_id outcome onset_on confirmed_on",
    key="child_id line_id outcome onset_on",
    required="child_id line_id outcome onset_on",
    otherwise=NOT_RECORDED,
)

CALLS = Frame.of(
    "calls",
    "one row a call to a family",
    "family_id called_at called_by outcome agreed recheck_on note",
    key="family_id called_at called_by",
    blank={"recheck_on": "the policy's number of days after the call"},
    required="family_id called_at called_by outcome",
    otherwise=NOT_RECORDED,
)

INCOMING: Mapping[str, Frame] = {
    f.name: f for f in (LINES, STAYS, CAREGIVERS, SIGN_OFFS, HOME_LOG, OUTCOMES, CALLS)
}
"""The tables that come in, in the order in which a folder of files is read."""

ON_EVERY_ROW = (
    Column.of(field_of("received_at"), blank="moment of ingest"),
    Column.of(field_of("void"), blank="no"),
)
"""Columns that every incoming table may carry."""
