"""What does each command's table hold, column by column?"""

from __future__ import annotations

from analysis.tables.columns import Column, Frame, Kind
from analysis.vocabulary import LineType, State

_GROUP = Column("group", Kind.TEXT, "value of the grouping", blank="not recorded")
_LINE_DAYS = Column("home_line_days", Kind.COUNT, "home line-days", "line-days")
_SCORED = Column("intervals_scored", Kind.COUNT, "scored intervals", "intervals")
_ON_TIME = Column("intervals_on_time", Kind.COUNT, "of these on time", "intervals")
_IN_DATE = Column("in_date_days", Kind.COUNT, "home line-days in date", "line-days")
_OUT_OF_DATE = Column("out_of_date_days", Kind.COUNT, "home line-days out of date", "line-days")


def _share(name: str, meaning: str, blank: str) -> Column:
    return Column(name, Kind.NUMBER, meaning, "share from 0 to 1", blank=blank)


_NO_LIMIT = "no limits: fewer than five families"

LINE_TABLE = Frame(
    "line_table",
    "one row a line",
    (
        Column("line_id", Kind.TEXT, "code of the line"),
        Column("child_id", Kind.TEXT, "code of the child"),
        Column("family_id", Kind.TEXT, "code of the family"),
        Column("site", Kind.TEXT, "clinic or team"),
        Column("line_type", Kind.CODE, "kind of line", allowed=tuple(LineType)),
        _LINE_DAYS,
        _IN_DATE,
        _OUT_OF_DATE,
        Column("unscored_days", Kind.COUNT, "no known change in force", "line-days"),
        Column("not_accessed_days", Kind.COUNT, "port not accessed", "line-days"),
        _SCORED,
        _ON_TIME,
        Column("state", Kind.CODE, "state on the as-of day", allowed=tuple(State)),
        Column("last_change_on", Kind.DATE, "last known change", blank="none known"),
        Column("allowed_until", Kind.DATE, "last day on time", blank="no interval in force"),
        Column("days_overdue", Kind.COUNT, "days overdue or compromised", "days"),
        Column("skin_events", Kind.COUNT, "skin events at home before the as-of day", "events"),
        Column("last_heard_on", Kind.DATE, "newest entry of the family", blank="never heard from"),
        Column("silent_days", Kind.COUNT, "days since then", "days"),
    ),
    key=("line_id",),
)

ADHERENCE = Frame(
    "adherence",
    "one row a group",
    (
        _GROUP,
        Column("families", Kind.COUNT, "families with home line-days", "families"),
        Column("lines", Kind.COUNT, "lines with home line-days", "lines"),
        _LINE_DAYS,
        _SCORED,
        _ON_TIME,
        _share("on_time_share", "intervals on time / scored intervals", "no scored interval"),
        _share("on_time_lower", "lower 95 % limit, families resampled", _NO_LIMIT),
        _share("on_time_upper", "upper 95 % limit, families resampled", _NO_LIMIT),
        _IN_DATE,
        _OUT_OF_DATE,
        _share("in_date_share", "in-date days / (in-date + out-of-date)", "no day in either"),
        _share("in_date_lower", "lower 95 % limit, families resampled", _NO_LIMIT),
        _share("in_date_upper", "upper 95 % limit, families resampled", _NO_LIMIT),
        _share("log_coverage", "home line-days not silent / home line-days", "no line-day"),
    ),
    key=("group",),
)

_EVENTS = Column("events", Kind.COUNT, "events attributed to home", "events")
_BASIS_DAYS = Column("line_days", Kind.COUNT, "home line-days on the basis asked for", "line-days")
_PER = "events per 1000 line-days"
_NO_RATE = "no line-days: no rate"
_RATE = Column("rate_per_1000", Kind.NUMBER, "events per 1000 home line-days", _PER, _NO_RATE)


def _number(name: str, meaning: str, unit: str, blank: str | None) -> Column:
    return Column(name, Kind.NUMBER, meaning, unit, blank)


COUNTS = Frame(
    "counts",
    "one row a group with an event or a line-day",
    (
        _GROUP,
        _EVENTS,
        Column("events_elsewhere", Kind.COUNT, "events not attributed to home", "events"),
        _BASIS_DAYS,
    ),
    key=("group",),
)

RATES = Frame(
    "rates",
    "one row a group",
    (
        _GROUP,
        _EVENTS,
        _BASIS_DAYS,
        _RATE,
        _number("lower", "lower 95 % limit", _PER, _NO_RATE),
        _number("upper", "upper 95 % limit", _PER, _NO_RATE),
    ),
    key=("group",),
)

COMPARISON = Frame(
    "comparison",
    "one row a way of counting: two groups or spells of time",
    (
        Column("first", Kind.TEXT, "group or span above the line of the ratio"),
        Column("second", Kind.TEXT, "group or span below it"),
        _number("ratio", "first rate over second", "", "no events, or too few families"),
        _number("lower", "lower 95 % limit of the ratio", "", "no events, or too few families"),
        _number("upper", "upper 95 % limit of the ratio", "", "no events, or too few families"),
        _number("p", "against a ratio of 1", "", "too few families"),
        Column("method", Kind.TEXT, "how limits and p were worked out"),
    ),
)

LINE_TIMES = Frame(
    "line_times",
    "one row a line that came home before the as-of day",
    (
        Column("line", Kind.COUNT, "position of the line"),
        Column("group", Kind.TEXT, "value of the grouping", blank="not recorded"),
        Column("entry_day", Kind.COUNT, "day since placement on which it came home", "days"),
        Column("exit_day", Kind.COUNT, "day since placement on which it was last seen", "days"),
        Column("cause", Kind.COUNT, "0 still in place or left, 1 unplanned, 2 planned, 3 death"),
    ),
    key=("line",),
)

_LINES_OF = "lines"
DWELL = Frame(
    "dwell",
    "one row a group and day since placement with an end of a line",
    (
        _GROUP,
        Column("day", Kind.COUNT, "day since placement", "days"),
        Column("at_risk", Kind.COUNT, "lines at risk on it", _LINES_OF),
        Column("removed", Kind.COUNT, "of these removed on it", _LINES_OF),
        Column("unplanned", Kind.COUNT, "of these unplanned", _LINES_OF),
        Column("planned", Kind.COUNT, "of these planned", _LINES_OF),
        _number("in_place", "share still in place at its end (Kaplan-Meier)", "share", None),
        _number("in_place_lower", "lower 95 % limit", "share", "no line left"),
        _number("in_place_upper", "upper 95 % limit", "share", "no line left"),
        _number("unplanned_share", "share ended unplanned by then (Aalen-Johansen)", "share", None),
        _number("unplanned_lower", "lower 95 % limit", "share", None),
        _number("unplanned_upper", "upper 95 % limit", "share", None),
    ),
    key=("group", "day"),
)

DWELL_SUMMARY = Frame(
    "dwell_summary",
    "one row a group",
    (
        _GROUP,
        Column("lines", Kind.COUNT, "lines with time at risk", _LINES_OF),
        Column("without_time", Kind.COUNT, "lines that ended on the day they came home", _LINES_OF),
        Column(
            "start_day",
            Kind.COUNT,
            "the curve is of the lines in place on this day since placement",
            "days",
            "never enough lines at risk: no curve",
        ),
        Column("removed", Kind.COUNT, "removed after it", _LINES_OF),
        Column("unplanned", Kind.COUNT, "of these unplanned", _LINES_OF),
        Column("planned", Kind.COUNT, "of these planned", _LINES_OF),
        Column(
            "median_day", Kind.COUNT, "day by which half had been removed", "days", "not reached"
        ),
        Column("median_lower", Kind.COUNT, "lower 95 % limit", "days", "not reached"),
        Column("median_upper", Kind.COUNT, "upper 95 % limit", "days", "not reached"),
        Column("horizon", Kind.COUNT, "day up to which the mean is taken", "days", "no curve"),
        _number(
            "mean_days", "mean days in place from start to horizon", "days", "not followed so far"
        ),
        _number("mean_days_error", "its standard error", "days", "not followed so far"),
        Column("reading", Kind.TEXT, "the result in plain words"),
    ),
    key=("group",),
)

LOGRANK = Frame(
    "logrank",
    "one row: groups compared by the log-rank test with delayed entry",
    (
        _number("statistic", "chi-squared", "", "nothing can be compared"),
        Column("df", Kind.COUNT, "degrees of freedom"),
        _number("p", "its upper tail", "", "nothing can be compared"),
    ),
)

CHART = Frame(
    "chart",
    "one row a period (u) or gap before an event (t, g), in order of time",
    (
        Column("period", Kind.TEXT, "month or quarter; for gaps the day of the event"),
        _EVENTS,
        Column("line_days", Kind.COUNT, "home line-days of the period, or of the gap", "line-days"),
        _RATE,
        _number(
            "centre", "centre line", "rate per 1000 (u), days (t) or line-days (g)", "no baseline"
        ),
        _number("lower_limit", "lower limit", "as the centre", "no baseline"),
        _number("upper_limit", "upper limit", "as the centre", "no baseline"),
        Column("signal", Kind.CODES, "rules that the point breaks", blank="none"),
    ),
    key=("period",),
)

FUNNEL = Frame(
    "funnel",
    "one row a group",
    (
        _GROUP,
        _EVENTS,
        _BASIS_DAYS,
        _RATE,
        _number("centre", "rate of all groups together", _PER, _NO_RATE),
        _number("lower_95", "lower 95 % limit about the centre", _PER, _NO_RATE),
        _number("upper_95", "upper 95 % limit about the centre", _PER, _NO_RATE),
        _number("lower_998", "lower 99.8 % limit about the centre", _PER, _NO_RATE),
        _number("upper_998", "upper 99.8 % limit about the centre", _PER, _NO_RATE),
    ),
    key=("group",),
)
