"""What does the timeline say of each line, interval, skin event and family as of a day?

All spans are half-open ``[start, end)`` in dates; only days before the as-of day count.
`line` is the position of the line in `HOME_LINES`; `family` the position in `FAMILIES`.
"""

from __future__ import annotations

from analysis.tables.columns import Column, Frame, Kind
from analysis.vocabulary import (
    DressingType,
    LineType,
    State,
    Task,
    Therapy,
)

_LINE = Column("line", Kind.COUNT, "position of the line in the frame of lines")
_TASK = Column("task", Kind.CODE, "care task", allowed=tuple(Task))

ENDED_BY = (
    "change",
    "clinic_change",
    "admission",
    "removal",
    "leaving",
    "deaccess",
    "as_of",
)
"""What ended an interval; ``as_of``: it is still open."""

HOME_LINES = Frame(
    "home_lines",
    "one row a line placed by the as-of day, in order of family, child and line code",
    (
        _LINE,
        Column("line_id", Kind.TEXT, "code of the line"),
        Column("child_id", Kind.TEXT, "code of the child"),
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("family", Kind.COUNT, "position of the family in the frame of families"),
        Column("site", Kind.TEXT, "clinic or team"),
        Column("nurse", Kind.TEXT, "holder of the caseload", blank="not recorded"),
        Column("line_type", Kind.CODE, "kind of line", allowed=tuple(LineType)),
        Column(
            "therapy",
            Kind.CODE,
            "what the line is for",
            blank="not recorded",
            allowed=tuple(Therapy),
        ),
        Column(
            "dressing_type",
            Kind.CODE,
            "what covers the exit site, by the registry",
            allowed=tuple(DressingType),
        ),
        Column("born", Kind.MONTH, "month of birth", blank="not recorded"),
        Column("placed_on", Kind.DATE, "day the line was placed"),
        Column("home_from", Kind.DATE, "first day at home with it"),
        Column(
            "end_on",
            Kind.DATE,
            "day it was removed or left",
            blank="still in place on the as-of day",
        ),
        Column("at_home", Kind.FLAG, "in place, come home and not away, on the as-of day"),
        Column("home_line_days", Kind.COUNT, "home line-days before the as-of day", "line-days"),
        Column(
            "unknown_since",
            Kind.DATE,
            "home_from or the end of the last stay: day since which a dressing of unknown "
            "state is unknown",
            blank="not at home, or the state is not unknown",
        ),
    ),
    key=("line",),
)

HOME_SPELLS = Frame(
    "home_spells",
    "one row a run of home line-days of a line",
    (
        _LINE,
        Column("start_on", Kind.DATE, "first day"),
        Column("end_on", Kind.DATE, "day after the last; at most the as-of day"),
        Column(
            "ended_by",
            Kind.CODE,
            "what ended it",
            allowed=("admission", "removal", "leaving", "as_of"),
        ),
    ),
    key=("line", "start_on"),
)

ACCESSED_SPELLS = Frame(
    "accessed_spells",
    "one row a time during which a port was accessed, at home or not",
    (
        _LINE,
        Column("start_on", Kind.DATE, "day of access"),
        Column(
            "end_on",
            Kind.DATE,
            "day of de-access, or on which the line ended",
            blank="still accessed on the as-of day",
        ),
    ),
    key=("line", "start_on"),
)

INTERVALS = Frame(
    "intervals",
    "one row a span from one change of a task to what ended it, in order of task, line, day",
    (
        _LINE,
        _TASK,
        Column("start_on", Kind.DATE, "day of the change that starts it"),
        Column("row", Kind.COUNT, "home-log row of that change; -1: from the registry or a stay"),
        Column("by_home", Kind.FLAG, "the change was the family's, not the clinic's"),
        Column(
            "dressing_type", Kind.CODE, "dressing in force during it", allowed=tuple(DressingType)
        ),
        Column("interval_days", Kind.COUNT, "interval", "days", "never due by the calendar"),
        Column(
            "home_on",
            Kind.DATE,
            "first day at home from its start on: the start, or the day of coming home after a "
            "clinic's change (day after the as-of day if still away)",
        ),
        Column("due_on", Kind.DATE, "start plus interval", blank="never due by the calendar"),
        Column(
            "allowed_until",
            Kind.DATE,
            "last day on which a change is on time, reports of a compromised dressing taken in",
            blank="never due by the calendar and not reported",
        ),
        Column(
            "reported_on",
            Kind.DATE,
            "first day the dressing was found loose, damp or soiled",
            blank="not reported",
        ),
        Column("report_row", Kind.COUNT, "home-log row of that report; -1: none"),
        Column("end_on", Kind.DATE, "day it ended; the as-of day if still open"),
        Column("end_row", Kind.COUNT, "home-log row of the change that ended it; -1: none"),
        Column("ended_by", Kind.CODE, "what ended it", allowed=ENDED_BY),
        Column("scored", Kind.FLAG, "counts in the on-time share"),
        Column("on_time", Kind.FLAG, "scored and on time"),
        Column(
            "late_days", Kind.COUNT, "days past allowed_until when scored and late, else 0", "days"
        ),
        Column("in_date_days", Kind.COUNT, "home line-days in date", "line-days"),
        Column("out_of_date_days", Kind.COUNT, "home line-days out of date", "line-days"),
    ),
    key=("task", "line", "start_on"),
)

CARE = Frame(
    "care",
    "one row a line and task: days by class and the state on the as-of day",
    (
        _LINE,
        _TASK,
        Column("in_date_days", Kind.COUNT, "home line-days in date", "line-days"),
        Column("out_of_date_days", Kind.COUNT, "home line-days out of date", "line-days"),
        Column(
            "unscored_days", Kind.COUNT, "home line-days with no known change in force", "line-days"
        ),
        Column(
            "not_accessed_days", Kind.COUNT, "home line-days of a port not accessed", "line-days"
        ),
        Column("intervals_scored", Kind.COUNT, "scored intervals", "intervals"),
        Column("intervals_on_time", Kind.COUNT, "of these on time", "intervals"),
        Column("state", Kind.CODE, "state on the as-of day", allowed=tuple(State)),
        Column("last_change_on", Kind.DATE, "last known change", blank="none known"),
        Column(
            "allowed_until",
            Kind.DATE,
            "last day on which the next change is on time",
            blank="not at home, no interval in force, or never due",
        ),
        Column(
            "days_overdue",
            Kind.COUNT,
            "as-of day minus allowed_until when overdue or compromised, else 0",
            "days",
        ),
        Column("change_row", Kind.COUNT, "home-log row of the last change; -1: none"),
        Column("report_row", Kind.COUNT, "home-log row of the report that compromised it; -1"),
    ),
    key=("line", "task"),
)

SKIN_EVENTS = Frame(
    "skin_events",
    "one row a skin event: findings of one line no further apart than the gap",
    (
        _LINE,
        Column("onset_on", Kind.DATE, "day of its first finding"),
        Column("last_on", Kind.DATE, "day of its last finding"),
        Column("findings", Kind.COUNT, "entries with a skin finding in it", "entries"),
        Column("onset_row", Kind.COUNT, "home-log row of the first finding"),
        Column("last_row", Kind.COUNT, "home-log row of the last finding"),
        Column("at_home", Kind.FLAG, "attributed to home"),
    ),
    key=("line", "onset_on"),
)

OUTCOME_EVENTS = Frame(
    "outcome_events",
    "one row a harm confirmed by the clinic, repeats of one infection counted once",
    (
        _LINE,
        Column("outcome", Kind.CODE, "kind of harm"),
        Column("onset_on", Kind.DATE, "first day of it"),
        Column("row", Kind.COUNT, "stored row of the outcome"),
        Column("at_home", Kind.FLAG, "attributed to home"),
    ),
)

FAMILIES = Frame(
    "families",
    "one row a family",
    (
        Column("family", Kind.COUNT, "position of the family"),
        Column("family_id", Kind.TEXT, "code of the family"),
        Column(
            "last_heard_on", Kind.DATE, "day of the newest home-log entry", blank="never heard from"
        ),
        Column("heard_row", Kind.COUNT, "home-log row of that entry; -1: never heard from"),
        Column(
            "silent_days",
            Kind.COUNT,
            "as-of day minus last heard (from home_from if never); 0 before coming home",
            "days",
        ),
        Column("silent", Kind.FLAG, "silent for more days than the policy's limit"),
    ),
    key=("family",),
)

TALLY = Frame(
    "tally",
    "one row a line, calendar month, dressing type in force, age band and task: counts that add up",
    (
        _LINE,
        _TASK,
        Column("month", Kind.MONTH, "calendar month"),
        Column(
            "dressing_type", Kind.CODE, "dressing in force on the day", allowed=tuple(DressingType)
        ),
        Column(
            "age_band",
            Kind.CODE,
            "age in years on the day",
            "years",
            blank="month of birth not recorded",
        ),
        Column("home_line_days", Kind.COUNT, "home line-days", "line-days"),
        Column(
            "child_days",
            Kind.COUNT,
            "of these, days on which no line of the child placed "
            "earlier was at home too: a child's day counts once",
            "child line-days",
        ),
        Column(
            "heard_days",
            Kind.COUNT,
            "of these, days on which the family was not silent",
            "line-days",
        ),
        Column("in_date_days", Kind.COUNT, "in date", "line-days"),
        Column("out_of_date_days", Kind.COUNT, "out of date", "line-days"),
        Column("unscored_days", Kind.COUNT, "no known change in force", "line-days"),
        Column("not_accessed_days", Kind.COUNT, "port not accessed", "line-days"),
        Column(
            "intervals_scored", Kind.COUNT, "scored intervals, in the month they ended", "intervals"
        ),
        Column("intervals_on_time", Kind.COUNT, "of these on time", "intervals"),
    ),
)
"""Home line-days stand in every task's rows: sum one task only."""

EVENT_ONSETS = Frame(
    "event_onsets",
    "one row an event that began before the as-of day",
    (
        _LINE,
        Column("event", Kind.CODE, "'skin', a finding code or an outcome"),
        Column("onset_on", Kind.DATE, "first day of it"),
        Column("at_home", Kind.FLAG, "attributed to home"),
    ),
)

EVENT_TALLY = Frame(
    "event_tally",
    "one row a line, event, calendar month, dressing type in force and age band",
    (
        _LINE,
        Column("event", Kind.CODE, "'skin', a finding code or an outcome"),
        Column("month", Kind.MONTH, "calendar month of the onset"),
        Column(
            "dressing_type", Kind.CODE, "dressing in force on the day", allowed=tuple(DressingType)
        ),
        Column(
            "age_band",
            Kind.CODE,
            "age in years on the day",
            "years",
            blank="month of birth not recorded",
        ),
        Column("events", Kind.COUNT, "events attributed to home", "events"),
        Column("events_elsewhere", Kind.COUNT, "events not attributed to home", "events"),
    ),
)
