"""What do the tables of trends, standardised ratios, shrunk rates and late reports hold?"""

from __future__ import annotations

from analysis.tables.columns import Frame

TREND = Frame.of(
    "trend",
    "one row: the trend of a rate over periods",
    """periods events families ratio_per_period lower upper p dispersion dispersion_p
    season_adjusted""",
    blank={
        "ratio_per_period": "no events, or one period",
        "lower upper p": "too few families",
        "dispersion": "fewer than two families or no events",
        "dispersion_p": "as dispersion",
    },
    detail={
        "families": "with line-days",
        "lower upper": "errors clustered by family",
        "p": "against a ratio of 1",
    },
)

STANDARDISED = Frame.of(
    "standardised",
    "one row a group",
    "group events expected ratio lower upper p",
    key="group",
    blank={
        "group": "not recorded",
        "expected": "no other group has such days",
        "ratio": "fewer than one expected or too low a log coverage: not shown",
        "lower": "no events, or not shown",
        "upper p": "not shown",
    },
    detail={"ratio": "observed over expected", "p": "against a ratio of 1"},
)

SHRUNK_RATES = Frame.of(
    "shrunk_rates",
    "one row a family with home line-days, the likeliest above the limit first",
    "family_id events line_days rate_per_1000 shrunk_rate_per_1000 limit_per_1000 prob_above",
    key="family_id",
    blank={"shrunk_rate_per_1000 prob_above": "too low a log coverage"},
)

MEAN_COUNT = Frame.of(
    "mean_count",
    "one row a day since placement with an event",
    "day at_risk events mean_count lower upper",
    key="day",
    blank={"lower upper": "one family"},
    detail={"at_risk": "at home on that day", "lower upper": "clustered by family"},
)

LATE_REPORTS = Frame.of(
    "late_reports",
    "one row a source and week of the day an entry speaks of",
    "source week_from entries completeness expected_entries lower upper provisional",
    key="source week_from",
    blank={
        "source": "our own form",
        "completeness expected_entries lower upper": "too few to estimate",
    },
)

DELAY_CHANGE = Frame.of(
    "delay_change",
    "one row a source",
    "source entries median_delay_days z p",
    key="source",
    blank={"source": "our own form", "z p": "nothing to compare"},
    detail={"p": "against no change"},
)

DELAYS = Frame.of(
    "delays",
    "one row a source of home logs",
    """source entries median_days nine_in_ten_days later_than_week later_than_week_share
    last_week_completeness last_received_on quiet_days""",
    key="source",
    blank={
        "source": "our own form",
        "median_days nine_in_ten_days later_than_week_share": "no entry in these weeks",
        "last_week_completeness": "too few to estimate",
    },
    detail={"entries": "received in the weeks considered"},
)

PROVISIONAL_RATES = Frame.of(
    "provisional_rates",
    "one row a month or quarter",
    """group events line_days judged_days log_coverage completeness expected_events
    expected_rate_per_1000 expected_lower expected_upper provisional not_over data_status""",
    key="group",
    blank={
        "group": "not recorded",
        "log_coverage": "no line-day",
        "completeness expected_events": "reporting delay not known",
        "expected_rate_per_1000 expected_lower": "reporting delay not known, or no line-days",
        "expected_upper": "reporting delay not known, or no line-days",
    },
)

LOGGING_BIAS = Frame.of(
    "logging_bias",
    "one row a group",
    """group events line_days rate_per_1000 log_coverage well_logged_events well_logged_days
    well_logged_rate well_logged_lower well_logged_upper hidden_at_most rate_at_most""",
    key="group",
    blank={
        "group": "not recorded",
        "rate_per_1000 log_coverage rate_at_most": "no line-days",
        "well_logged_rate well_logged_lower well_logged_upper": "no such family",
    },
    detail={"rate_per_1000": "of all families"},
)

OVERDUE_HAZARD = Frame.of(
    "overdue_hazard",
    "one row: unplanned removal while the dressing is out of date against while it is not",
    "lines unplanned unplanned_out_of_date hazard_ratio lower upper p reading",
    blank={"hazard_ratio lower upper p": "cannot be estimated"},
    detail={
        "lines": "with time at risk",
        "lower upper": "clustered by child",
        "p": "against a ratio of 1",
    },
)
