"""What does the timeline say of each line, interval, skin event and family as of a day?

All spans are half-open ``[start, end)`` in dates; only days before the as-of day count.
`line` is the position of the line in `HOME_LINES`; `family` the position in `FAMILIES`.
"""

from __future__ import annotations

from analysis.tables.columns import Frame
from analysis.tables.fields.days import ENDED_BY

__all__ = ["ENDED_BY"]

HOME_LINES = Frame.of(
    "home_lines",
    "one row a line placed by the as-of day, in order of family, child and line code",
    """line line_id child_id family_id family site nurse line_type therapy dressing_type born
    placed_on home_from end_on at_home home_line_days unknown_since""",
    key="line",
    blank={
        "nurse therapy born": "not recorded",
        "end_on": "still in place on the as-of day",
        "unknown_since": "not at home, or the state is not unknown",
    },
    detail={"end_on": "removed, or left the programme", "home_line_days": "before the as-of day"},
)

TALLY_LINES = Frame.of(
    "tally_lines",
    "one row a line and time with the same family, site and nurse; as `home_lines` otherwise",
    f"{' '.join(HOME_LINES.names)} held_from",
    key="line",
    blank={
        **{c.name: c.blank for c in HOME_LINES.columns if c.blank is not None},
        "held_from": "from the start",
    },
    detail={"line": "of the time, in order of line and day", "home_line_days": "of the line"},
)

HOME_PERIODS = Frame.of(
    "home_periods",
    "one row a run of home line-days of a line",
    "line start_on end_on ended_by",
    key="line start_on",
    detail={"end_on": "at most the as-of day"},
    allowed={"ended_by": ("admission", "removal", "leaving", "as_of")},
)

ACCESSED_PERIODS = Frame.of(
    "accessed_periods",
    "one row a time during which a port was accessed, at home or not",
    "line start_on end_on",
    key="line start_on",
    blank={"end_on": "still accessed on the as-of day"},
    detail={"start_on": "day of access", "end_on": "de-access, or the end of the line"},
)

INTERVALS = Frame.of(
    "intervals",
    "one row a span from one change of a task to what ended it, in order of task, line, day",
    """line task start_on row by_home dressing_type interval_days home_on due_on allowed_until
    reported_on report_row end_on end_row ended_by scored on_time late_days in_date_days
    out_of_date_days""",
    key="task line start_on",
    blank={
        "interval_days due_on": "never due by the calendar",
        "allowed_until": "never due by the calendar and not reported",
        "reported_on": "not reported",
    },
    detail={
        "start_on": "day of the change that starts it",
        "row": "the change that starts it",
        "dressing_type": "in force during it",
        "end_on": "the as-of day if still open",
    },
)

CARE = Frame.of(
    "care",
    "one row a line and task: days by class and the state on the as-of day",
    """line task in_date_days out_of_date_days unscored_days not_accessed_days intervals_scored
    intervals_on_time state last_change_on allowed_until days_overdue change_row report_row""",
    key="line task",
    blank={
        "last_change_on": "none known",
        "allowed_until": "not at home, no interval in force, or never due",
    },
)

SKIN_EVENTS = Frame.of(
    "skin_events",
    "one row a skin event: findings of one line no further apart than the gap",
    "line onset_on last_on findings onset_row last_row at_home",
    key="line onset_on",
    detail={"onset_on": "day of its first finding"},
)

OUTCOME_EVENTS = Frame.of(
    "outcome_events",
    "one row a harm confirmed by the clinic, repeats of one infection counted once",
    "line outcome onset_on row at_home",
)

FAMILIES = Frame.of(
    "families",
    "one row a family",
    "family family_id last_heard_on heard_row home_since silent_days silent",
    key="family",
    blank={"last_heard_on": "never heard from", "home_since": "no line at home on the as-of day"},
)

TALLY = Frame.of(
    "tally",
    "one row a line with its family, site and nurse, month, dressing type, age band and task",
    """line task month dressing_type age_band home_line_days child_days heard_days heard_child_days
    in_date_days out_of_date_days unscored_days not_accessed_days intervals_scored intervals_on_time""",
    blank={"age_band": "month of birth not recorded"},
    detail={"dressing_type": "in force on the day", "intervals_scored": "in the month they ended"},
)
"""Every task's rows repeat the home line-days: sum one task only."""

EVENT_ONSETS = Frame.of(
    "event_onsets",
    "one row an event that began before the as-of day",
    "line event onset_on at_home",
)

EVENT_TALLY = Frame.of(
    "event_tally",
    "one row a line, event, calendar month, dressing type in force and age band",
    "line event month dressing_type age_band events events_elsewhere",
    blank={"age_band": "month of birth not recorded"},
    detail={"month": "of the onset", "dressing_type": "in force on the day"},
)
