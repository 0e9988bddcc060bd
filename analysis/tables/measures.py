"""What does each command's table hold, column by column?"""

from __future__ import annotations

from analysis.tables.columns import Frame

LINE_TABLE = Frame.of(
    "line_table",
    "one row a line",
    """line_id child_id family_id site line_type home_line_days in_date_days out_of_date_days
    unscored_days not_accessed_days intervals_scored intervals_on_time state last_change_on
    allowed_until days_overdue skin_events last_heard_on silent_days""",
    key="line_id",
    blank={
        "last_change_on": "none known",
        "allowed_until": "no interval in force",
        "last_heard_on": "never heard from",
    },
)

ADHERENCE = Frame.of(
    "adherence",
    "one row a group",
    """group families lines home_line_days intervals_scored intervals_on_time on_time_share
    on_time_lower on_time_upper in_date_days out_of_date_days in_date_share in_date_lower
    in_date_upper log_coverage""",
    key="group",
    blank={
        "group": "not recorded",
        "on_time_share": "no scored interval",
        "on_time_lower on_time_upper in_date_lower": "no limits: fewer than five families",
        "in_date_upper": "no limits: fewer than five families",
        "in_date_share": "no day in either",
        "log_coverage": "no line-day",
    },
    detail={"families lines": "with home line-days"},
)

COUNTS = Frame.of(
    "counts",
    "one row a group with an event or a line-day",
    "group events events_elsewhere line_days judged_days log_coverage",
    key="group",
    blank={"group": "not recorded", "log_coverage": "no line-day"},
)

RATES = Frame.of(
    "rates",
    "one row a group",
    "group events line_days rate_per_1000 lower upper",
    key="group",
    blank={"group": "not recorded", "rate_per_1000 lower upper": "no line-days: no rate"},
)

COMPARISON = Frame.of(
    "comparison",
    "one row a way of counting: two groups or periods",
    "first second ratio lower upper p method",
    blank={"ratio lower upper": "no events, or too few families", "p": "too few families"},
    detail={"ratio": "first rate over second", "p": "against a ratio of 1"},
)

LINE_TIMES = Frame.of(
    "line_times",
    "one row a line that came home before the as-of day, and time in which its group is the same",
    "line group entry_day exit_day cause",
    key="line entry_day",
    blank={"group": "not recorded"},
)

DWELL = Frame.of(
    "dwell",
    "one row a group and day since placement with an end of a line",
    """group day at_risk removed unplanned planned in_place in_place_lower in_place_upper
    unplanned_share unplanned_lower unplanned_upper""",
    key="group day",
    blank={"group": "not recorded", "in_place_lower in_place_upper": "no line left"},
    detail={"removed unplanned": "on that day"},
)

DWELL_SUMMARY = Frame.of(
    "dwell_summary",
    "one row a group",
    """group lines without_time start_day removed unplanned planned median_day median_lower
    median_upper horizon mean_days mean_days_error reading""",
    key="group",
    blank={
        "group": "not recorded",
        "start_day": "never enough lines at risk: no curve",
        "median_day median_lower median_upper": "not reached",
        "horizon": "no curve",
        "mean_days mean_days_error": "not followed so far",
    },
    detail={"lines": "with time at risk", "removed": "after the start of the curve"},
)

LOGRANK = Frame.of(
    "logrank",
    "one row: groups compared by the log-rank test with delayed entry",
    "statistic df p",
    blank={"statistic p": "nothing can be compared"},
    detail={"p": "upper tail of chi-squared"},
)

POINT_OF_CHART = "period events line_days rate_per_1000 centre lower_limit upper_limit signal"

GAP_CHART = Frame.of(
    "gap_chart",
    "one row a gap before an event, in order of time",
    f"{POINT_OF_CHART} gap",
    key="period",
    blank={
        "rate_per_1000": "no line-days: no rate",
        "centre lower_limit upper_limit": "no baseline",
        "signal": "none",
    },
    detail={
        "line_days": "of the gap, on which the event could be known",
        "centre": "days (t) or line-days (g)",
        "gap": "days (t) or line-days (g)",
    },
)

RATE_CHART = Frame.of(
    "rate_chart",
    "one row a month or quarter with an event or a line-day, in order of time",
    POINT_OF_CHART
    + """
    judged_days judged_rate_per_1000 lower upper log_coverage completeness expected_rate_per_1000
    expected_lower expected_upper provisional not_over data_status judged in_baseline dispersion""",
    key="period",
    blank={
        "rate_per_1000 lower upper": "no line-days: no rate",
        "centre lower_limit upper_limit dispersion": "no baseline",
        "signal": "none",
        "judged_rate_per_1000": "no day that can be judged",
        "log_coverage": "no line-day",
        "completeness expected_rate_per_1000 expected_lower": "reporting delay not known",
        "expected_upper": "reporting delay not known",
    },
    detail={
        "centre": "about the rate on judged days",
        "dispersion": "of a period's count, by families or by the other periods",
    },
)

FUNNEL = Frame.of(
    "funnel",
    "one row a group",
    """group events line_days rate_per_1000 centre lower_95 upper_95 lower_998 upper_998 judged_days
    judged_rate_per_1000 log_coverage judged dispersion""",
    key="group",
    blank={
        "judged_rate_per_1000": "no day that can be judged",
        "log_coverage": "no line-day",
        "group": "not recorded",
        "rate_per_1000 centre lower_95 upper_95 lower_998 upper_998": "no line-days: no rate",
    },
    detail={"centre": "rate of all groups together"},
)

SIGNALS = Frame.of(
    "signals",
    "one row an event and site: signals first, strongest first, then by event and site",
    """event site state since since_earliest since_latest ratio ratio_lower ratio_upper rule
    sentence""",
    key="event site",
    blank={"since since_earliest since_latest ratio ratio_lower ratio_upper rule": "no signal"},
    detail={
        "site": "`all` for the programme",
        "ratio": "rate since over the rate before",
        "sentence": "the verdict in plain words",
    },
)
