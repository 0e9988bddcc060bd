"""What do the tables hold that look ahead: another policy, the next two weeks, kits?"""

from __future__ import annotations

from analysis.tables.columns import Column, Frame, Kind

WHATIF = Frame(
    "whatif",
    "one row a quantity: by the policy in force and by another one",
    (
        Column("quantity", Kind.TEXT, "what is counted; a day: mean over the replayed mornings"),
        Column("group", Kind.TEXT, "all, or the nurse"),
        Column("present", Kind.NUMBER, "by the policy in force", blank="cannot be told"),
        Column("other", Kind.NUMBER, "by the other policy", blank="cannot be told"),
        Column("difference", Kind.NUMBER, "other less present", blank="cannot be told"),
    ),
    key=("quantity", "group"),
)

CAPACITY = Frame(
    "capacity",
    "one row a site and day of the next two weeks",
    (
        Column("site", Kind.TEXT, "clinic or team"),
        Column("day", Kind.DATE, "day to come, from the as-of day on"),
        Column("weekday", Kind.TEXT, "its weekday"),
        Column("lines", Kind.COUNT, "lines at home on the as-of day", "lines"),
        Column(
            "changes_due", Kind.COUNT, "dressing changes whose last day on time it is", "changes"
        ),
        Column(
            "families_listed",
            Kind.NUMBER,
            "families to call on this weekday, mean of the replayed weeks",
            "families",
            blank="no week replayed",
        ),
        Column(
            "fewest_listed", Kind.COUNT, "the fewest of them", "families", blank="none replayed"
        ),
        Column("most_listed", Kind.COUNT, "the most of them", "families", blank="none replayed"),
        Column(
            "calls_possible",
            Kind.COUNT,
            "calls that the nurses with a line at home there can make in a day, by the policy",
            "calls",
        ),
    ),
    key=("site", "day"),
)

KITS = Frame(
    "kits",
    "one row a family whose dressing kits run out before the next delivery",
    (
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("site", Kind.TEXT, "site of its first line at home"),
        Column("counted_on", Kind.DATE, "day of the last count"),
        Column("kits_left", Kind.COUNT, "kits counted then", "kits"),
        Column("used", Kind.COUNT, "changes since", "changes"),
        Column("runs_out_on", Kind.DATE, "day of the first change without a kit"),
        Column("delivery_on", Kind.DATE, "next delivery, reckoned", blank="not known"),
        Column("row", Kind.COUNT, "home-log row of the count"),
    ),
    key=("family_id",),
)

_FAMILIES = "families"
CALLING = Frame(
    "calling",
    "one row a morning: the list as it was known then, and the calls made until the next one",
    (
        Column("morning", Kind.DATE, "day of the list"),
        Column("listed", Kind.COUNT, "families to call", _FAMILIES),
        Column("same_day_review", Kind.COUNT, "of these in that band", _FAMILIES),
        Column("call_today", Kind.COUNT, "of these in that band", _FAMILIES),
        Column("call_this_week", Kind.COUNT, "of these in that band", _FAMILIES),
        Column("waiting", Kind.COUNT, "families waiting after a call", _FAMILIES),
        Column("set_aside", Kind.COUNT, "families set aside until a later day", _FAMILIES),
        Column(
            "made", Kind.COUNT, "calls made until the next morning", "calls", blank="the last one"
        ),
        Column("reached", Kind.COUNT, "of these reached somebody", "calls", blank="the last one"),
    ),
    key=("morning",),
)

LIST_CHANGE = Frame(
    "list_change",
    "one row a reason to call that a family had on either of two mornings",
    (
        Column("reason", Kind.TEXT, "reason code"),
        Column("then", Kind.COUNT, "families with it on the earlier morning", _FAMILIES),
        Column("now", Kind.COUNT, "families with it on the later one", _FAMILIES),
        Column("new", Kind.COUNT, "of these without it on the earlier", _FAMILIES),
        Column("gone", Kind.COUNT, "of the earlier without it on the later", _FAMILIES),
    ),
    key=("reason",),
)
