"""Which fields does the timeline have, and the tallies made from it?"""

from __future__ import annotations

from analysis.tables.fields.kinds import count, day, flag, month, word
from analysis.vocabulary import State, Task

ENDED_BY = ("change", "clinic_change", "admission", "removal", "leaving", "deaccess", "as_of")
"""What ended an interval; ``as_of``: it is still open."""

DAYS = (
    count("line", "position of the line in the frame of lines"),
    count("family", "position of the family in the frame of families"),
    day("end_on", "day it ended: the first day that no longer belongs to it"),
    flag("at_home", "in place, come home and not away, on the as-of day"),
    count("home_line_days", "home line-days", "line-days"),
    day(
        "unknown_since",
        "home_from or the end of the last stay: day since which a dressing of unknown state is unknown",
    ),
    day("start_on", "first day"),
    word("ended_by", "what ended it", allowed=ENDED_BY),
    word("task", "care task", allowed=Task),
    flag("by_home", "the change was the family's, not the clinic's"),
    count("interval_days", "interval", "days"),
    day(
        "home_on",
        "first day at home from its start on: the start, or the day of coming home after a clinic's change (day after the as-of day if still away)",
    ),
    day("due_on", "start plus interval"),
    day(
        "allowed_until",
        "last day on which the next change is on time; reports of a compromised dressing count",
    ),
    day("reported_on", "first day the dressing was found loose, damp or soiled"),
    count(
        "report_row", "home-log row of the report that compromised the dressing; -1: none", low=-1
    ),
    count("end_row", "home-log row of the change that ended it; -1: none", low=-1),
    flag("scored", "counts in the on-time share"),
    flag("on_time", "scored and on time"),
    count("late_days", "days past allowed_until when scored and late, else 0", "days"),
    count("in_date_days", "home line-days in date", "line-days"),
    count("out_of_date_days", "home line-days out of date", "line-days"),
    count("unscored_days", "home line-days with no known change in force", "line-days"),
    count("not_accessed_days", "home line-days of a port not accessed", "line-days"),
    count("intervals_scored", "scored intervals", "intervals"),
    count("intervals_on_time", "of these on time", "intervals"),
    word("state", "state on the as-of day", allowed=State),
    day("last_change_on", "day of the newest known change"),
    count(
        "days_overdue", "days overdue or compromised, else 0; of several dressings the most", "days"
    ),
    count("change_row", "home-log row of the last change; -1: none", low=-1),
    day("last_on", "day of its last finding"),
    count("findings", "entries with a skin finding in it", "entries", only_in="skin_events"),
    count("onset_row", "home-log row of the first finding", low=-1),
    count("last_row", "home-log row of the last finding", low=-1, only_in="skin_events"),
    flag("at_home", "attributed to home", only_in="skin_events outcome_events event_onsets"),
    day("held_from", "first day with this family, site and nurse"),
    day("last_heard_on", "day of the family's newest home-log entry"),
    count("heard_row", "home-log row of that entry; -1: never heard from", low=-1),
    day("home_since", "first day of the family's present time with a line at home"),
    count(
        "silent_days",
        "days since the later of the family's newest log entry and home_since",
        "days",
    ),
    flag("silent", "at home, and silent for more days than the policy's limit"),
    month("month", "calendar month"),
    word("age_band", "age in years on the day", "years"),
    count(
        "child_days",
        "of these, days on which no line of the child placed earlier was at home too: a child's day counts once",
        "child line-days",
    ),
    count("heard_days", "of these, days on which the family was not silent", "line-days"),
    count(
        "heard_child_days",
        "of the child line-days, days on which the family was not silent",
        "child line-days",
    ),
    word("event", "kind of event: 'skin', a finding code, an outcome or another kind of harm"),
    count("events", "events counted", "events"),
    count("events_elsewhere", "events not attributed to home", "events"),
)
