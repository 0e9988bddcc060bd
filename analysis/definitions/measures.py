"""The definitions of the quantities that commands and screens show."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from analysis.definitions.model import Definition, Example
from analysis.measures import Limits, adherence, line_table, rates
from analysis.tallies import Tallies
from analysis.timeline import Timeline
from analysis.vocabulary import Basis, Grouping, Task

Measure = Callable[[Timeline, Tallies], object]

_ONE_LINE = {"home_from": ["2031-03-01"], "dressing_on": ["2031-03-01"]}
_TWO_CHANGES = {"done_on": ["2031-03-06", "2031-03-16"], "kind": ["dressing_change"] * 2}
_TWO_CHANGES_WORDS = (
    "A transparent dressing (7 days) was put on on 1 March, the day the child came home, and "
    "changed on 6 March (on time) and on 16 March (due on the 13th, so 3 days late). Looked at "
    "in the morning of 20 March: 19 home line-days, of which 13, 14 and 15 March were out of date."
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


def _changes(as_of: date, measure: Measure, answer: object) -> Example:
    tables = {"lines": _ONE_LINE, "home_log": _TWO_CHANGES}
    return Example(_TWO_CHANGES_WORDS, tables, as_of, measure, answer)


_20_MARCH = date(2031, 3, 20)

DEFINITIONS = (
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
            "7th), looked at in the morning of 11 March: 10 nights less 2.",
            {
                "lines": {"home_from": ["2031-03-01"]},
                "stays": {
                    "child_id": ["C1"],
                    "from_on": ["2031-03-05"],
                    "to_on": ["2031-03-07"],
                },
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
            "How many days the last allowed day is past, in the morning of the day looked at. On "
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
            "Days since the newest entry of the family's log, or since coming home if there is "
            "none. Not logged is not the same as not done: overdue while the family is silent is "
            "told as overdue or not logged."
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
            {
                "lines": _ONE_LINE,
                "home_log": {"done_on": ["2031-03-01"], "kind": ["skin_check"]},
            },
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
            "(another). Looked at in the morning of 21 March: 2 events in 20 home line-days.",
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
)
"""Every quantity a screen shows, in reading order."""
