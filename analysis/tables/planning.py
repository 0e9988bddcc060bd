"""What do the tables hold that look ahead: another policy, the next two weeks, kits?"""

from __future__ import annotations

from analysis.tables.columns import Frame

WHATIF = Frame.of(
    "whatif",
    "one row a quantity: by the policy in force and by another one",
    "quantity group present other difference",
    key="quantity group",
    blank={"present other difference": "not known"},
    detail={"group": "all, or the nurse"},
)

CAPACITY = Frame.of(
    "capacity",
    "one row a site and day of the next two weeks",
    """site day weekday lines changes_due families_listed fewest_listed most_listed calls_possible""",
    key="site day",
    blank={"families_listed": "no week replayed", "fewest_listed most_listed": "none replayed"},
    detail={"lines": "at home on the as-of day"},
)

TO_CALL = Frame.of(
    "to_call",
    "one row a replayed morning and family with a line at home on it, by what was known then",
    "morning family_id site to_call",
    key="morning family_id",
    detail={"site": "of its first line at home"},
)

KITS = Frame.of(
    "kits",
    "one row a family whose dressing kits run out before the next delivery",
    "family_id site counted_on kits_left used runs_out_on delivery_on row",
    key="family_id",
    blank={"delivery_on": "not known"},
    detail={
        "site": "of its first line at home",
        "kits_left": "at the last count",
        "row": "the count",
    },
)

CALLING = Frame.of(
    "calling",
    "one row a morning: the list as it was known then, and the calls made until the next one",
    "morning listed same_day_review call_today call_this_week waiting set_aside made reached",
    key="morning",
    blank={"made reached": "the last one"},
)

LIST_CHANGE = Frame.of(
    "list_change",
    "one row a reason to call that a family had on either of two mornings",
    "reason then now new gone",
    key="reason",
)
