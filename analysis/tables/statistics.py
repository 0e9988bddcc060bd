"""What do the tables of trends, standardised ratios, shrunk rates and late reports hold?"""

from __future__ import annotations

from analysis.tables.columns import Column, Frame, Kind

_PER = "events per 1000 line-days"
_GROUP = Column("group", Kind.TEXT, "value of the grouping", blank="not recorded")
_EVENTS = Column("events", Kind.COUNT, "events attributed to home", "events")
_DAYS = Column("line_days", Kind.COUNT, "home line-days on the basis asked for", "line-days")


def _number(name: str, meaning: str, unit: str = "", blank: str | None = None) -> Column:
    return Column(name, Kind.NUMBER, meaning, unit, blank)


TREND = Frame(
    "trend",
    "one row: the trend of a rate over periods",
    (
        Column("periods", Kind.COUNT, "periods from the first to the last with line-days"),
        _EVENTS,
        Column("families", Kind.COUNT, "families with line-days", "families"),
        _number(
            "ratio_per_period",
            "rate of a period over that of the one before",
            "",
            "no events, or one period",
        ),
        _number("lower", "lower 95 % limit, errors clustered by family", "", "too few families"),
        _number("upper", "upper 95 % limit, errors clustered by family", "", "too few families"),
        _number("p", "against a ratio of 1", "", "too few families"),
        _number(
            "dispersion",
            "variance over mean of families' counts; 1: chance alone",
            "",
            "fewer than two families or no events",
        ),
        _number("dispersion_p", "against chance alone", "", "as dispersion"),
    ),
)

STANDARDISED = Frame(
    "standardised",
    "one row a group",
    (
        _GROUP,
        _EVENTS,
        _number("expected", "events at the programme's rate in every stratum", "events"),
        _number("ratio", "observed over expected", "", "fewer than one expected: not shown"),
        _number("lower", "lower 95 % limit", "", "no events, or not shown"),
        _number("upper", "upper 95 % limit", "", "not shown"),
        _number("p", "against a ratio of 1", "", "not shown"),
    ),
    key=("group",),
)

SHRUNK_RATES = Frame(
    "shrunk_rates",
    "one row a family with home line-days, the likeliest above the limit first",
    (
        Column("family_id", Kind.TEXT, "code of the family"),
        _EVENTS,
        _DAYS,
        _number("rate_per_1000", "plain rate", _PER),
        _number("shrunk_rate_per_1000", "rate drawn toward the programme's", _PER),
        _number("limit_per_1000", "limit looked at", _PER),
        _number("prob_above", "probability that the family's true rate is above the limit"),
    ),
    key=("family_id",),
)

MEAN_COUNT = Frame(
    "mean_count",
    "one row a day since placement with an event",
    (
        Column("day", Kind.COUNT, "day since placement", "days"),
        Column("at_risk", Kind.COUNT, "lines at home on it", "lines"),
        _EVENTS,
        _number("mean_count", "mean number of events a line up to its end", "events a line"),
        _number("lower", "lower 95 % limit, clustered by family", "events a line", "one family"),
        _number("upper", "upper 95 % limit, clustered by family", "events a line", "one family"),
    ),
    key=("day",),
)

LATE_REPORTS = Frame(
    "late_reports",
    "one row a source and week of the day an entry speaks of",
    (
        Column(
            "source",
            Kind.TEXT,
            "source profile of the file; blank: our own form",
            blank="our own form",
        ),
        Column("week_from", Kind.DATE, "first day of the week; the last one ends on the as-of day"),
        Column("entries", Kind.COUNT, "entries known", "entries"),
        _number(
            "completeness", "share of the week's entries that have come", "share", "too few to tell"
        ),
        _number("expected_entries", "entries when all have come", "entries", "too few to tell"),
        _number("lower", "lower 95 % limit of it", "entries", "too few to tell"),
        _number("upper", "upper 95 % limit of it", "entries", "too few to tell"),
        Column("provisional", Kind.FLAG, "less complete than the limit for a settled week"),
    ),
    key=("source", "week_from"),
)

DELAY_CHANGE = Frame(
    "delay_change",
    "one row a source",
    (
        Column("source", Kind.TEXT, "source profile of the file", blank="our own form"),
        Column("entries", Kind.COUNT, "entries looked at", "entries"),
        _number("median_delay_days", "half of the entries come within", "days"),
        _number("z", "above 0: later weeks have longer delays", "", "nothing to compare"),
        _number("p", "against no change", "", "nothing to compare"),
    ),
    key=("source",),
)

DELAYS = Frame(
    "delays",
    "one row a source of home logs",
    (
        Column("source", Kind.TEXT, "source profile of the file", blank="our own form"),
        Column("entries", Kind.COUNT, "entries received in the weeks looked at", "entries"),
        Column(
            "median_days",
            Kind.COUNT,
            "half of them came within so many days of their own day",
            "days",
            "no entry in these weeks",
        ),
        Column(
            "nine_in_ten_days",
            Kind.COUNT,
            "nine in ten came within so many days of their own day",
            "days",
            "no entry in these weeks",
        ),
        Column("later_than_week", Kind.COUNT, "came more than 7 days after their day", "entries"),
        _number(
            "later_than_week_share",
            "share that came more than 7 days after their day",
            "share",
            "no entry in these weeks",
        ),
        _number(
            "last_week_completeness",
            "share of the last week's entries that have come",
            "share",
            "too few to tell",
        ),
        Column("last_received_on", Kind.DATE, "day on which the newest entry was received"),
        Column("quiet_days", Kind.COUNT, "days from then to the as-of day", "days"),
    ),
    key=("source",),
)

PROVISIONAL_RATES = Frame(
    "provisional_rates",
    "one row a month or quarter",
    (
        _GROUP,
        _EVENTS,
        _DAYS,
        _number(
            "completeness",
            "share of the period's entries that have come",
            "share",
            "too few to tell",
        ),
        _number(
            "expected_events", "events when all entries have come", "events", "too few to tell"
        ),
        _number(
            "expected_rate_per_1000",
            "rate when all entries have come",
            _PER,
            "too few to tell, or no line-days",
        ),
        Column("provisional", Kind.FLAG, "less complete than the limit for a settled period"),
    ),
    key=("group",),
)

LOGGING_BIAS = Frame(
    "logging_bias",
    "one row a group",
    (
        _GROUP,
        _EVENTS,
        _DAYS,
        _number("rate_per_1000", "rate of all families", _PER, "no line-days"),
        _number(
            "log_coverage", "home line-days not silent / home line-days", "share", "no line-days"
        ),
        Column("well_logged_events", Kind.COUNT, "events of well-logging families", "events"),
        Column("well_logged_days", Kind.COUNT, "their home line-days", "line-days"),
        _number("well_logged_rate", "their rate", _PER, "no such family"),
        _number("well_logged_lower", "lower 95 % limit", _PER, "no such family"),
        _number("well_logged_upper", "upper 95 % limit", _PER, "no such family"),
        Column(
            "hidden_at_most",
            Kind.COUNT,
            "skin events that silent days could hide at most",
            "events",
        ),
        _number("rate_at_most", "rate if they hid as many", _PER, "no line-days"),
    ),
    key=("group",),
)

OVERDUE_HAZARD = Frame(
    "overdue_hazard",
    "one row: unplanned removal while the dressing is out of date against while it is not",
    (
        Column("lines", Kind.COUNT, "lines with time at risk", "lines"),
        Column("unplanned", Kind.COUNT, "unplanned removals", "lines"),
        Column("unplanned_out_of_date", Kind.COUNT, "of these while out of date", "lines"),
        _number("hazard_ratio", "out of date over not", "", "cannot be estimated"),
        _number("lower", "lower 95 % limit, clustered by child", "", "cannot be estimated"),
        _number("upper", "upper 95 % limit, clustered by child", "", "cannot be estimated"),
        _number("p", "against a ratio of 1", "", "cannot be estimated"),
        Column("reading", Kind.TEXT, "the result in plain words"),
    ),
)
