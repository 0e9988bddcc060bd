"""How many calls can be made in a day, by one nurse or several, and who is beyond them."""

from dataclasses import replace

import pytest

from analysis.decisions import call_list
from analysis.decisions.asked import Asked
from analysis.decisions.daily_capacity import daily_capacity
from analysis.decisions.sentences import beyond_sentence, capacity_sentence
from analysis.policy import shipped_policy
from analysis.timeline import build
from tests.written import day, written

POLICY = shipped_policy()
# On 10 March: F1 with a red flag; F2 to F5 overdue, each a day less; F6 in date.
LINES = """
line_id | family_id | child_id | site  | nurse | home_from  | dressing_on
L1      | F1        | C1       | north | N1    | 2031-02-01 | 2031-01-31
L2      | F2        | C2       | north | N1    | 2031-02-01 | 2031-01-31
L3      | F3        | C3       | north | N2    | 2031-02-01 | 2031-01-31
L4      | F4        | C4       | south | N2    | 2031-02-01 | 2031-01-31
L5      | F5        | C5       | south |       | 2031-02-01 | 2031-01-31
L6      | F6        | C6       | south | N2    | 2031-02-01 | 2031-01-31
"""
LOG = """
line_id | done_at    | kind            | findings
L1      | 2031-03-09 | dressing_change | fever
L2      | 2031-02-26 | dressing_change |
L3      | 2031-02-27 | dressing_change |
L4      | 2031-02-28 | dressing_change |
L5      | 2031-03-01 | dressing_change |
L6      | 2031-03-09 | dressing_change |
"""
CALLS = """
family_id | called_at        | called_on  | called_by | outcome | recheck_on
F3        | 2031-03-10T09:00 | 2031-03-10 | n2        | reached | 2031-03-12
F6        | 2031-03-09T09:00 | 2031-03-09 | n2        | reached | 2031-03-11
"""


def capacity_of(calls_a_day, asked=None, **tables):
    tables = {"lines": LINES, "home_log": LOG, **tables}
    records = written(**tables)
    timeline = build(records, POLICY, day("2031-03-10"))
    found = call_list(timeline, records, POLICY)
    settings = replace(POLICY.on(day("2031-03-10")).settings, calls_a_day=calls_a_day)
    return daily_capacity(found, timeline, records, settings, asked or Asked())


def test_the_day_holds_so_many_calls_for_each_nurse_and_those_made_are_taken_off():
    found = capacity_of(2, calls=CALLS)
    assert (found.possible, found.made, found.left) == (4, 1, 3)
    assert (found.listed, found.fits, found.beyond) == (4, 3, 1)
    assert beyond_sentence(found) == (
        "Daily limit reached. The 1 family below is beyond today's calls."
    )


@pytest.mark.parametrize(
    ("asked", "possible", "made", "listed"),
    [
        (Asked(nurse="N1"), 2, 0, 2),
        (Asked(nurse="N2"), 2, 1, 1),
        (Asked(site="north"), 4, 1, 2),
        (Asked(site="south"), 2, 0, 2),
        (Asked(site="south", nurse="N1"), 2, 0, 0),
        (Asked(band="call_today", language="Welsh"), 4, 1, 4),
    ],
)
def test_a_nurse_or_a_site_has_its_own_calls(asked, possible, made, listed):
    found = capacity_of(2, asked, calls=CALLS)
    assert (found.possible, found.made, found.listed) == (possible, made, listed)


def test_a_same_day_review_is_called_whatever_the_capacity():
    calls = CALLS + "F2 | 2031-03-10T09:00 | 2031-03-10 | n2 | reached | 2031-03-12\n"
    found = capacity_of(1, calls=calls)
    assert (found.left, found.same_day, found.fits) == (0, 1, 1)
    assert capacity_sentence(found).endswith(
        "Same-day reviews come first, also beyond capacity: 1."
    )


def test_more_calls_than_possible_leave_none_and_not_fewer():
    calls = CALLS + "F2 | 2031-03-10T09:00 | 2031-03-10 | n2 | reached | 2031-03-12\n"
    assert capacity_of(1, Asked(nurse="N1"), calls=calls * 1).left == 0
    assert capacity_of(1, Asked(site="north"), calls=calls).left == 0


def test_nobody_at_home_leaves_the_day_empty():
    lines = "line_id | home_from | nurse\n"
    found = capacity_of(
        25, lines=lines, home_log="line_id | done_at\n", calls="family_id | called_at\n"
    )
    assert (found.possible, found.listed, found.beyond) == (25, 0, 0)
    assert capacity_sentence(found).startswith("No families left to call;")


def test_without_a_nurse_recorded_the_day_is_that_of_one():
    lines = "\n".join(
        " | ".join(c for at, c in enumerate(row.split("|")) if at != 4)
        for row in LINES.strip().splitlines()
    )
    assert capacity_of(3, lines=lines).possible == 3
