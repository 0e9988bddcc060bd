"""What do the numbers about dwell time mean?"""

from __future__ import annotations

from datetime import date, timedelta

from analysis.definitions.model import Definition, Example, Measure, Rows, codes, records_of
from analysis.measures.dwell import compare_dwell, dwell
from analysis.measures.overdue_hazard import overdue_hazard
from analysis.tallies import Tallies
from analysis.timeline import Timeline
from analysis.vocabulary import Grouping

_TEN_LINES: dict[str, Rows] = {
    "lines": {
        "line_id": codes("L", 10),
        "child_id": codes("C", 10),
        "family_id": codes("F", 10),
        "home_from": ["2031-03-01"] * 10,
        "removed_on": ["2031-03-06", "2031-03-11", *[None] * 8],
        "removal_reason": ["therapy_complete", "dislodgement", *[None] * 8],
    }
}
_TEN_LINES_WORDS = (
    "Ten lines placed and home on 1 March. One is removed on day 5 because therapy is complete, "
    "another is pulled out on day 10; eight are in place on 21 March."
)
_TWO_SITES: dict[str, Rows] = {
    "lines": {**_TEN_LINES["lines"], "site": ["north"] * 5 + ["south"] * 5}
}
_TEN_PAIRS: dict[str, Rows] = {
    "lines": {
        "line_id": codes("L", 20),
        "child_id": codes("C", 20),
        "family_id": codes("F", 20),
        "placed_on": [str(date(2031, 3, 1) - timedelta(10 * pair)) for pair in range(10)] * 2,
        "home_from": ["2031-03-01"] * 20,
        "dressing_on": ["2031-03-01"] * 20,
        "removed_on": ["2031-03-09"] * 20,
        "removal_reason": [
            *["dislodgement"] * 8, *["therapy_complete"] * 10, *["dislodgement"] * 2,
        ],
    },
    "home_log": {
        "line_id": codes("L", 20)[10:],
        "family_id": codes("F", 20)[10:],
        "done_on": ["2031-03-07"] * 10,
        "kind": ["dressing_change"] * 10,
    },
}  # fmt: skip


def _last_of_curve(column: str) -> Measure:
    def measure(timeline: Timeline, _: Tallies) -> object:
        curves = dwell(timeline, records_of(_TEN_LINES), Grouping.ALL).curves
        return round(float(curves[column].iloc[-1]), 3)

    return measure


def _logrank(timeline: Timeline, _: Tallies) -> object:
    found = compare_dwell(
        timeline, records_of(_TWO_SITES), Grouping.SITE, unplanned_only=False
    ).iloc[0]
    return (round(float(found["statistic"]), 2), round(float(found["p"]), 2))


def _hazard_ratio(timeline: Timeline, _: Tallies) -> object:
    found = overdue_hazard(timeline, records_of(_TEN_PAIRS)).iloc[0]
    return round(float(found["hazard_ratio"]), 2)


DWELL_TIME = (
    Definition(
        key="share_in_place",
        title="Share still in place",
        words=(
            "The share of lines not yet removed, for any reason, by day since placement. A "
            "line counts from the day it came home; lines still in place on the as-of day, and "
            "those that left the programme, count until they were last seen. Where fewer than ten "
            "lines were at home on the first days the curve starts later and is of the lines in "
            "place on that day."
        ),
        unit="share of lines",
        source="Kaplan and Meier 1958, with delayed entry",
        example=Example(
            _TEN_LINES_WORDS + " After day 5, 9 of 10; after day 10, 8 of those 9.",
            _TEN_LINES,
            date(2031, 3, 21),
            _last_of_curve("in_place"),
            0.8,
        ),
    ),
    Definition(
        key="cumulative_incidence",
        title="Share ended unplanned",
        words=(
            "The share of lines that have ended unplanned by each day since placement. Planned "
            "removal and death compete: a line that ended so can't end unplanned any more, and "
            "1 minus a curve that leaves them out would be too high."
        ),
        unit="share of lines",
        source="cumulative incidence of Aalen and Johansen, with delayed entry",
        example=Example(
            _TEN_LINES_WORDS + " On day 10 one of the nine left ends unplanned: 9/10 of 1/9, not "
            "1/9.",
            _TEN_LINES,
            date(2031, 3, 21),
            _last_of_curve("unplanned_share"),
            0.1,
        ),
    ),
    Definition(
        key="logrank",
        title="Do the groups differ in dwell time?",
        words=(
            "On each day with a removal, the removals that each group would have had if all lines "
            "were alike, set against those it had. A small p means that such a difference would be "
            "rare among groups that are alike; it does not show how large the difference is, nor "
            "what made it."
        ),
        unit="chi-squared statistic and p",
        source="log-rank test of Mantel 1966, with delayed entry",
        example=Example(
            _TEN_LINES_WORDS + " Both were of the north site, five lines each. Expected at north: "
            "5 of 10 on day 5 and 4 of 9 on day 10, together 0.944 with variance 0.25 + 0.247. "
            "(2 - 0.944) squared by 0.497 is 2.24.",
            _TWO_SITES,
            date(2031, 3, 21),
            _logrank,
            (2.24, 0.13),
        ),
    ),
    Definition(
        key="overdue_hazard",
        title="Unplanned removal while the dressing is out of date",
        words=(
            "How many times as often a line ends unplanned on a day with its dressing out of date "
            "as on another day since placement. An association and not a cause: a family in "
            "trouble may be late and lose the line for the same reason."
        ),
        unit="hazard ratio",
        source="Cox 1972, out of date or not as it changes from day to day",
        example=Example(
            "Ten pairs of lines, dressed and home on 1 March. The first pair was placed that day, "
            "each next pair ten days earlier, so a line is only compared with the other "
            "of its pair. One line of each pair is never changed, so it is out of date from the "
            "8th; the other is changed on the 7th. All are removed on the 9th, one of each pair "
            "unplanned: the one out of date in eight pairs, the one in date in two. With r the "
            "ratio, r to the power 8 by (1 + r) to the power 10 is largest where r is 8 / 2.",
            _TEN_PAIRS,
            date(2031, 3, 14),
            _hazard_ratio,
            4.0,
        ),
    ),
)
"""How long lines stay and how they end, in reading order."""
