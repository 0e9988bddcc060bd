"""What do the tables of a replay hold: mornings, later events, and how well each order did?"""

from __future__ import annotations

from analysis.tables.columns import Column, Frame, Kind
from analysis.vocabulary import Band

_SHARE = "share from 0 to 1"

MORNINGS = Frame(
    "mornings",
    "one row a replayed morning and family with a line at home on it, by what was known then",
    (
        Column("morning", Kind.DATE, "day of the list"),
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("site", Kind.TEXT, "site of its first line at home"),
        Column("band", Kind.CODE, "band of the call list", allowed=tuple(Band)),
        Column("rank", Kind.COUNT, "place in the calling order", blank="waiting or no reason"),
        Column("reasons", Kind.CODES, "reasons to call", blank="none"),
        Column("silent", Kind.FLAG, "the family was silent"),
        Column("silent_days", Kind.COUNT, "days since it was heard from", "days"),
        Column("days_overdue", Kind.COUNT, "most days any dressing is overdue", "days"),
        Column(
            "days_since_change",
            Kind.COUNT,
            "most days since the last dressing change of a line at home",
            "days",
            blank="no change known",
        ),
        Column("lines", Kind.COUNT, "lines at home", "lines"),
        Column("scored", Kind.COUNT, "scored dressing intervals of these lines", "intervals"),
        Column("late", Kind.COUNT, "of these late", "intervals"),
        Column("skin_events", Kind.COUNT, "earlier skin events of these lines", "events"),
        Column("gauze", Kind.FLAG, "one of them is under gauze"),
        Column("days_at_home", Kind.COUNT, "fewest days since one came home or back", "days"),
        Column("stays", Kind.COUNT, "earlier stays away from home of these lines", "stays"),
    ),
    key=("morning", "family_id"),
)

LATER_EVENTS = Frame(
    "later_events",
    "one row an event that a call in time might have prevented or softened",
    (
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("line_id", Kind.TEXT, "code of the line"),
        Column("event", Kind.CODE, "skin_event, unplanned_removal or three_days_out_of_date"),
        Column("on", Kind.DATE, "day it began, or the third day out of date"),
        Column("last_morning", Kind.DATE, "last morning on which it lies within the 7 days"),
    ),
)

BACKTEST = Frame(
    "backtest",
    "one row an order of calling and group of families",
    (
        Column("order", Kind.TEXT, "how the families called were chosen"),
        Column("group", Kind.TEXT, "families looked at"),
        Column("families", Kind.COUNT, "families with a line at home", "families"),
        Column("family_mornings", Kind.COUNT, "mornings of families that could be called"),
        Column("calls", Kind.COUNT, "families called, added up over the mornings", "calls"),
        Column("hits", Kind.COUNT, "of these with an event within 7 days", "calls"),
        Column("precision", Kind.NUMBER, "hits / calls", _SHARE, blank="no calls"),
        Column("precision_lower", Kind.NUMBER, "lower 95 % limit, families resampled", blank="few"),
        Column("precision_upper", Kind.NUMBER, "upper 95 % limit, families resampled", blank="few"),
        Column(
            "prevalence", Kind.NUMBER, "family-mornings with an event within 7 days", _SHARE, ""
        ),
        Column(
            "lift", Kind.NUMBER, "hits / hits expected of as many calls at random", blank="none"
        ),
        Column("lift_lower", Kind.NUMBER, "lower 95 % limit, families resampled", blank="few"),
        Column("lift_upper", Kind.NUMBER, "upper 95 % limit, families resampled", blank="few"),
        Column("events", Kind.COUNT, "events whose 7 mornings were all replayed", "events"),
        Column("events_called", Kind.COUNT, "of these after a call on one of them", "events"),
        Column("share_called", Kind.NUMBER, "events_called / events", _SHARE, blank="no events"),
        Column(
            "median_lead_days",
            Kind.NUMBER,
            "from the first call to the event, events called",
            "days",
            blank="none called",
        ),
        Column("calls_per_event", Kind.NUMBER, "calls / events_called", blank="none called"),
        Column(
            "auc",
            Kind.NUMBER,
            "chance that of two families of a morning the one with an event stands higher",
            blank="no event",
        ),
        Column(
            "net_benefit",
            Kind.NUMBER,
            "hits less false calls at the stated worth, per family-morning",
            blank="no family-mornings",
        ),
        Column("net_benefit_of_all", Kind.NUMBER, "the same if all were called", blank="none"),
    ),
    key=("order", "group"),
)

PRECEDED = Frame(
    "preceded",
    "one row a kind of event: how many were preceded by a reason to call",
    (
        Column("event", Kind.TEXT, "kind of event, or all"),
        Column("events", Kind.COUNT, "events whose 7 mornings were all replayed", "events"),
        Column("preceded", Kind.COUNT, "of these with a reason on one of the mornings", "events"),
        Column("share", Kind.NUMBER, "preceded / events", _SHARE, blank="no events"),
        Column("lower", Kind.NUMBER, "lower 95 % limit, families resampled", blank="few families"),
        Column("upper", Kind.NUMBER, "upper 95 % limit, families resampled", blank="few families"),
        Column("median_lead_days", Kind.NUMBER, "from the first reason to the event", "days", ""),
    ),
    key=("event",),
)

CALIBRATION = Frame(
    "calibration",
    "one row a band, reason or tenth of the expected share",
    (
        Column("kind", Kind.TEXT, "band, reason or predicted"),
        Column("group", Kind.TEXT, "which one"),
        Column("family_mornings", Kind.COUNT, "mornings of families in it"),
        Column("predicted", Kind.NUMBER, "mean expected share", _SHARE, blank="no model"),
        Column("with_event", Kind.COUNT, "of these with an event within 7 days"),
        Column("observed", Kind.NUMBER, "with_event / family_mornings", _SHARE, blank="none"),
        Column("lower", Kind.NUMBER, "lower 95 % limit, families resampled", blank="few families"),
        Column("upper", Kind.NUMBER, "upper 95 % limit, families resampled", blank="few families"),
    ),
    key=("kind", "group"),
)
