"""What do the tables of a replay hold: mornings, later events, and how well each order did?"""

from __future__ import annotations

from analysis.tables.columns import Frame

MORNINGS = Frame.of(
    "mornings",
    "one row a replayed morning and family with a line at home on it, by what was known then",
    """morning family_id site band rank reasons silent silent_days days_overdue days_since_change
    lines scored late skin_events gauze days_at_home stays days_since_finding spoiled_recently spoiled_often
    days_since_new_caregiver""",
    key="morning family_id",
    blank={
        "rank": "waiting or no reason",
        "reasons": "none",
        "days_since_change": "no change known",
        "days_since_finding": "no finding",
        "days_since_new_caregiver": "no entry names a caregiver",
    },
    detail={
        "site": "of its first line at home",
        "band": "of the call list of that morning",
        "reasons": "of that morning",
        "lines": "at home",
        "skin_events": "of these lines",
    },
)

LATER_EVENTS = Frame.of(
    "later_events",
    "one row an event that a call in time might have prevented or softened",
    "family_id line_id event on last_morning",
    detail={
        "event": "skin_event, unplanned_removal, bloodstream_infection or three_days_out_of_date"
    },
)

BACKTEST = Frame.of(
    "backtest",
    "one row a kind of event, order of calling and group of families",
    """judged_by order group families family_mornings calls hits precision precision_lower
    precision_upper prevalence lift lift_lower lift_upper events events_called share_called
    median_lead_days calls_per_event auc net_benefit net_benefit_of_all""",
    key="judged_by order group",
    blank={
        "precision": "no calls",
        "precision_lower precision_upper lift_lower lift_upper": "few",
        "prevalence": "",
        "lift net_benefit_of_all": "none",
        "share_called": "no events",
        "median_lead_days calls_per_event": "none called",
        "auc": "no event",
        "net_benefit": "no family-mornings",
    },
    detail={
        "group": "families considered",
        "families": "with a line at home",
        "events": "whose 7 mornings were all replayed",
    },
)

PRECEDED = Frame.of(
    "preceded",
    "one row a kind of event: how many were preceded by a reason to call",
    "event events preceded share lower upper median_lead_days",
    key="event",
    blank={"share": "no events", "lower upper": "few families", "median_lead_days": ""},
    detail={
        "events": "whose 7 mornings were all replayed",
        "share": "preceded / events",
        "lower upper": "families resampled",
    },
)

CALIBRATION = Frame.of(
    "calibration",
    "one row a band, reason or tenth of the expected share",
    "kind group family_mornings predicted with_event observed lower upper",
    key="kind group",
    blank={"predicted": "no model", "observed": "none", "lower upper": "few families"},
    detail={"group": "band, reason or tenth", "lower upper": "families resampled"},
)
