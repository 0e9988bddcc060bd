"""What do days, states, shares of care on time, rates and their charts mean?"""

from __future__ import annotations

from datetime import date

import numpy as np

from analysis.definitions.model import Definition, Example, Measure, Rows, codes
from analysis.measures.adherence import adherence
from analysis.measures.comparison import compare
from analysis.measures.counts import counts
from analysis.measures.funnels import LEAGUE_TABLE_CAUTION, group_funnel
from analysis.measures.lines import line_table
from analysis.measures.rates import rates
from analysis.stats.charts import u_chart
from analysis.stats.surveillance import Cells, log_statistic
from analysis.tallies import Tallies
from analysis.timeline import Timeline
from analysis.vocabulary import Basis, Grouping, Limits, Task

_ONE_LINE = {"home_from": ["2031-03-01"], "dressing_on": ["2031-03-01"]}
_TWO_CHANGES = {"done_on": ["2031-03-06", "2031-03-16"], "kind": ["dressing_change"] * 2}
_TWO_CHANGES_WORDS = (
    "A transparent dressing (7 days) was put on on 1 March, the day the child came home, and "
    "changed on 6 March (on time) and on 16 March (due on the 13th, so 3 days late). In "
    "the morning of 20 March: 19 home line-days, of which 13, 14 and 15 March were out of date."
)


def _of_line(column: str) -> Measure:
    def measure(timeline: Timeline, _: Tallies) -> object:
        value = line_table(timeline, Task.DRESSING)[column].iloc[0]
        return int(value) if column != "state" else str(value)

    return measure


def _of_programme(column: str) -> Measure:
    def measure(_: Timeline, tallies: Tallies) -> object:
        return round(float(adherence(tallies, Grouping.ALL, Task.DRESSING)[column].iloc[0]), 3)

    return measure


def _skin_rate(_: Timeline, tallies: Tallies) -> object:
    found = rates(tallies, "skin", Grouping.ALL, Basis.LINE, Limits.EXACT).iloc[0]
    return (int(found["events"]), int(found["line_days"]), round(float(found["rate_per_1000"]), 1))


def _skin_limits(_: Timeline, tallies: Tallies) -> object:
    found = rates(tallies, "skin", Grouping.ALL, Basis.LINE, Limits.EXACT).iloc[0]
    return (round(float(found["lower"]), 1), round(float(found["upper"]), 1))


def _centre_and_upper_limit(_: Timeline, tallies: Tallies) -> object:
    months = counts(tallies, _INFECTION, Grouping.MONTH, Basis.LINE)
    found = u_chart(months["events"], months["judged_days"])
    return (round(found.centre, 1), round(float(found.upper_limit[-1]), 1))


def _funnel_of_north(_: Timeline, tallies: Tallies) -> object:
    row = group_funnel(
        tallies, _INFECTION, Grouping.SITE, Basis.LINE, allow_for_differences=False
    ).iloc[0]
    return tuple(round(float(row[c]), 1) for c in ("rate_per_1000", "centre", "upper_95"))


def _evidence_of_a_rise(_: Timeline, tallies: Tallies) -> object:
    months = counts(tallies, _INFECTION, Grouping.MONTH, Basis.LINE)
    days = months["judged_days"].to_numpy(dtype=np.float64)[None, :]
    cells = Cells(days, np.array([0, 1]), np.array([0]), np.array([1]), np.ones(1))
    statistic = log_statistic(cells, months["events"].to_numpy()[None, :])
    return round(float(np.exp(statistic[0, -1])), 1)


def _south_over_north(_: Timeline, tallies: Tallies) -> object:
    found = compare(
        tallies, _INFECTION, Grouping.SITE, Basis.LINE, Limits.EXACT, "south", "north"
    ).iloc[0]
    return (round(float(found["ratio"]), 1), round(float(found["p"]), 3))


_INFECTION = "exit_site_infection"
_TWO_SITES: dict[str, Rows] = {
    "lines": {
        "line_id": codes("L", 10),
        "child_id": codes("C", 10),
        "family_id": codes("F", 10),
        "site": ["north"] * 5 + ["south"] * 5,
        "home_from": ["2031-03-01"] * 10,
    },
    "outcomes": {
        "child_id": ["C1", *codes("C", 10)[5:]],
        "line_id": ["L1", *codes("L", 10)[5:]],
        "outcome": [_INFECTION] * 6,
        "onset_on": ["2031-03-10", *["2031-04-10"] * 5],
    },
}
_TWO_SITES_WORDS = (
    "Ten lines home from 1 March, five each of north and south; one exit site infection at north "
    "in March, five at south in April. In the morning of 1 May: 61 days, 305 line-days a site. "
)


def _changes(as_of: date, measure: Measure, answer: object) -> Example:
    tables = {"lines": _ONE_LINE, "home_log": _TWO_CHANGES}
    return Example(_TWO_CHANGES_WORDS, tables, as_of, measure, answer)


_20_MARCH = date(2031, 3, 20)

CARE_AND_RATES = (
    Definition(
        key="home_line_days",
        title="Home line-days",
        words=(
            "A day counts when, at the midnight that ends it, the line is in place and the child "
            "sleeps at home. So the day the child comes home counts; the day of admission or "
            "removal does not."
        ),
        unit="line-days",
        source=(
            "project choice, in the spirit of NHSN's count at the same time each day; NHSN "
            "counts inpatients only, so these are home line-days, not NHSN device-days"
        ),
        example=Example(
            "Home from 1 March, in hospital for the nights of 5 and 6 March (home again on the "
            "7th), read in the morning of 11 March: 10 nights less 2.",
            {
                "lines": {"home_from": ["2031-03-01"]},
                "stays": {"child_id": ["C1"], "from_on": ["2031-03-05"], "to_on": ["2031-03-07"]},
            },
            date(2031, 3, 11),
            _of_line("home_line_days"),
            8,
        ),
    ),
    Definition(
        key="on_time_share",
        title="On-time share",
        words=(
            "Of the scored intervals between two changes, how many ended on or before the last "
            "allowed day. A dressing reported loose, damp or soiled is to be changed that same "
            "day. An interval cut by admission or removal before it was late is not scored."
        ),
        unit="share of intervals",
        source="project definition; limits resample families, which are the independent unit",
        example=_changes(_20_MARCH, _of_programme("on_time_share"), 0.5),
    ),
    Definition(
        key="in_date_share",
        title="In-date share",
        words=(
            "Of the home line-days with a known change in force, how many fell before the last "
            "allowed day of the dressing (or connector, needle, flush) in force."
        ),
        unit="share of home line-days",
        source="the care-task twin of the proportion of days covered",
        example=_changes(_20_MARCH, _of_programme("in_date_share"), 0.842),
    ),
    Definition(
        key="out_of_date_days",
        title="Out-of-date days",
        words="Home line-days from the last allowed day on until the change that came late.",
        unit="home line-days",
        source="project definition",
        example=_changes(_20_MARCH, _of_line("out_of_date_days"), 3),
    ),
    Definition(
        key="days_overdue",
        title="Days overdue",
        words=(
            "How many days the last allowed day is past, in the morning of the as-of day. On "
            "the last allowed day itself the change is due today and not overdue."
        ),
        unit="days",
        source="project definition",
        example=_changes(date(2031, 3, 25), _of_line("days_overdue"), 2),
    ),
    Definition(
        key="silent_days",
        title="Silent days",
        words=(
            "Days since the newest entry of the family's log, or since the family's present time "
            "with a line at home began, whichever is later: a family back from hospital yesterday "
            "is not silent. Not logged is not the same as not done: overdue while the family is "
            "silent is shown as overdue or not logged."
        ),
        unit="days",
        source="project choice",
        example=_changes(date(2031, 3, 25), _of_line("silent_days"), 9),
    ),
    Definition(
        key="log_coverage",
        title="Log coverage",
        words="The share of home line-days on which the family was not silent.",
        unit="share of home line-days",
        source="project choice",
        example=Example(
            "Home from 1 March with one entry on that day and silent after 8 days: of the 19 "
            "home line-days up to 19 March, 1 to 9 March are covered.",
            {"lines": _ONE_LINE, "home_log": {"done_on": ["2031-03-01"], "kind": ["skin_check"]}},
            _20_MARCH,
            _of_programme("log_coverage"),
            0.474,
        ),
    ),
    Definition(
        key="skin_rate",
        title="Skin events per 1000 home line-days",
        words=(
            "Findings of one line no more than seven days after the one before are one event; its "
            "first day is its onset. The rate divides events that began at home by home "
            "line-days. No events still have an upper limit; without line-days there is no rate."
        ),
        unit="events per 1000 home line-days",
        source=(
            "project choice: no published rule for skin events; limits are exact (Garwood). Home "
            "line-days, not an NHSN rate"
        ),
        example=Example(
            "Home from 1 March; redness on 3 and 8 March (one event) and rash on 17 March "
            "(another). In the morning of 21 March: 2 events in 20 home line-days.",
            {
                "lines": _ONE_LINE,
                "home_log": {
                    "done_on": ["2031-03-03", "2031-03-08", "2031-03-17"],
                    "kind": ["skin_check"] * 3,
                    "findings": ["redness", "redness;itch", "rash"],
                },
            },
            date(2031, 3, 21),
            _skin_rate,
            (2, 20, 100.0),
        ),
    ),
    Definition(
        key="rate_limits",
        title="95 % limits of a rate",
        words=(
            "The rates that would not be surprised by the events seen: had the true rate been "
            "below the lower or above the upper limit, so many or so few events would come up "
            "less than once in forty times. Events are taken as independent; where families "
            "differ beyond chance, the limits adjusted for repeat events in a family are wider."
        ),
        unit="events per 1000 home line-days",
        source="Garwood's exact limits of a Poisson count, divided by the line-days",
        example=Example(
            "Redness on 3 March and rash on 17 March in the 20 home line-days up to 20 March: the "
            "limits of a count of 2 are 0.242 and 7.225; divided by 20 and times 1000.",
            {
                "lines": _ONE_LINE,
                "home_log": {
                    "done_on": ["2031-03-03", "2031-03-17"],
                    "kind": ["skin_check"] * 2,
                    "findings": ["redness", "rash"],
                },
            },
            date(2031, 3, 21),
            _skin_limits,
            (12.1, 361.2),
        ),
    ),
    Definition(
        key="rate_ratio",
        title="Comparison of two rates",
        words=(
            "The first rate divided by the second. If its limits hold 1, the data do not tell the "
            "two apart. One row takes events as independent; the other lets a family with several "
            "events count as one witness, and is the one to trust where there are such families."
        ),
        unit="ratio",
        source=(
            "conditional exact limits and central p; Poisson regression with errors clustered by "
            "family"
        ),
        example=Example(
            _TWO_SITES_WORDS + "The ratio is 5. With equal line-days each of the six events is as "
            "likely at either site: five or six of six at south come up 7 times in 64, and p is "
            "twice that.",
            _TWO_SITES,
            date(2031, 5, 1),
            _south_over_north,
            (5.0, 0.219),
        ),
    ),
    Definition(
        key="control_chart",
        title="Control chart",
        words=(
            "Each month or quarter against the rate of all complete ones (or of the first year). "
            "Skin events are judged on heard line-days: those on which the family was not silent. "
            "A steady rate is outside the limits about once in 370 periods; limits are wider where "
            "there are fewer line-days, and where families or seasons make the counts vary more "
            "than chance does. A signal is a point outside a limit, nine in a row on one side of "
            "what is usual, or two of three near a limit. A provisional period may still rise as "
            "late reports are received: it can raise a signal and never clears one. A period with "
            "too low a log coverage is shown and not judged."
        ),
        unit="events per 1000 home line-days",
        source=(
            "u-chart with exact quantiles of the Poisson distribution in place of 3 sigma, of the "
            "negative binomial where counts vary more than by chance"
        ),
        example=Example(
            _TWO_SITES_WORDS
            + "Centre: 6 events in 610 line-days. April has 300 line-days, so 2.95 "
            "events are expected; a count above 9 comes up less than 1.35 times in 1000, and the "
            "upper limit is 9 in 300.",
            _TWO_SITES,
            date(2031, 5, 1),
            _centre_and_upper_limit,
            (9.8, 30.0),
        ),
    ),
    Definition(
        key="funnel",
        title="Funnel of sites",
        words=(
            "The rate of each site against the rate of all sites together. A site with few "
            "line-days may lie far off by chance, so its limits are wide. " + LEAGUE_TABLE_CAUTION
        ),
        unit="events per 1000 home line-days",
        source="exact quantiles of the Poisson distribution about the common rate",
        example=Example(
            _TWO_SITES_WORDS + "North has 1 event, the common rate is 6 in 610, so 3 are expected; "
            "a count above 7 comes up less than 25 times in 1000, and the upper 95 % limit is 7 in "
            "305.",
            _TWO_SITES,
            date(2031, 5, 1),
            _funnel_of_north,
            (3.3, 9.8, 23.0),
        ),
    ),
    Definition(
        key="signal",
        title="Signal of a rise",
        words=(
            "Each event is followed at each site and in the programme, four times a month. For every "
            "month that a rise may have begun with, the days since are compared with those before, "
            "from the start of the baseline on; the evidence for a rate 1.5, 2 or 3 times as high is "
            "averaged and added up over these months. A signal is evidence above a threshold that is "
            "set by simulating steady programmes with the same families, line-days, sites and "
            "season: about one false signal in 3 years over all sites and events. Limits of the start "
            "and of the ratio are adjusted towards no change, because only high rates are reported."
        ),
        unit="sum of likelihood ratios, one for each month that a rise may have begun with",
        source=(
            "Shiryaev-Roberts procedure on the exact (binomial) likelihood of two Poisson counts; the "
            "threshold by simulation is a project choice"
        ),
        example=Example(
            _TWO_SITES_WORDS
            + "With March as the baseline (1 event in 310 line-days) and a rise that may "
            "have begun in April (5 in 300), twice the rate is 2^5 (610 / (310 + 2 x 300))^6 = 2.9 times "
            "as likely as the same rate; 1.5 times 2.0, 3 times 4.0; their mean is the statistic.",
            _TWO_SITES,
            date(2031, 5, 1),
            _evidence_of_a_rise,
            3.0,
        ),
    ),
)
"""Days, care and rates, in reading order."""
