"""Which words does the rates page have of its own? What a statistic means comes from its verdict."""

from __future__ import annotations

PERIODS = {"month": ("month", "months"), "quarter": ("quarter", "quarters")}
BASES = {"line": "per line", "child": "per child"}
GROUPINGS = {
    "site": "site",
    "line_type": "line type",
    "dressing_type": "dressing",
    "age_band": "age",
    "therapy": "therapy",
}
MANY_GROUPS = {
    "site": "sites",
    "line_type": "line types",
    "dressing_type": "dressings",
    "age_band": "age groups",
    "therapy": "therapies",
}
CHART_NOTE = (
    "Grey steps: control limits; a stable rate crosses them about once in 370 {many}. Open points "
    "are provisional: late entries may still raise them. A chart of months shows small rises late; "
    "signals at the top of the page are found sooner."
)
GAP_NOTE = (
    "Each point is the gap before an event; the open one is the wait so far. "
    "Grey steps: limits that a steady rate seldom passes. Low points: events close together."
)
INTERVAL_NOTE = (
    "Thick bar: exact 95 % limits, each event taken as independent. Thin bar: adjusted for "
    "families, where enough families have an event."
)
FUNNEL_CAUTION = (
    "A funnel does not rank sites. A site outside the limits is a reason to look, not a verdict."
)
CHOSEN_AFTER = (
    "A period chosen after looking at the chart makes a change look more certain than it is: "
    "choose it by what was changed and when."
)
RATIO_CAUTION = "Use the adjusted row where a few families have several of the events."
ASKED = {
    "event": "event",
    "basis": "kind of line-days",
    "period": "period",
    "by": "grouping",
    "site": "site",
    "line_type": "line type",
    "nurse": "nurse",
}
"""What an address may ask for, in words."""
