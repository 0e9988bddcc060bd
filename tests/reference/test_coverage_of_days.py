"""The in-date share against its model, the proportion of days covered.

PMC3160417, table 1: a patient with 180 days of whom 12 in hospital, 90 days covered. Days in
hospital left in the denominator: 90/180 = 50.0 %; taken out of it: 90/168, printed 53.5 % (cut off,
not rounded: 53.57).
"""

from datetime import date, timedelta

import pytest

from analysis.measures.adherence import adherence
from analysis.policy import shipped_policy
from analysis.tallies import tally
from analysis.timeline import build
from analysis.vocabulary import Grouping, Task
from tests.written import written

HOME_FROM = date(2031, 1, 1)


def on(number: int) -> date:
    return HOME_FROM + timedelta(days=number)


def test_hospital_days_are_taken_out_of_the_in_date_share():
    # A transparent dressing is in date for 7 days. Changed every 14 days, half of them are; the
    # change on day 8 adds 6. In hospital from day 84 to day 96.
    changes = [0, 8, 14, 28, 42, 56, 70, 96, 110, 124, 138, 152, 166]
    log = ["line_id | done_at | kind", *(f"L1 | {on(n)} | dressing_change" for n in changes)]
    records = written(
        lines=f"line_id | home_from\nL1 | {HOME_FROM}",
        stays=f"child_id | from_on | to_on | place\nC1 | {on(84)} | {on(96)} | hospital",
        home_log="\n".join(log),
    )
    policy = shipped_policy()
    tallies = tally(build(records, policy, on(180)), policy)
    found = adherence(tallies, Grouping.ALL, Task.DRESSING).iloc[0]
    assert found["in_date_days"] == 90
    assert found["in_date_days"] + found["out_of_date_days"] == found["home_line_days"] == 168
    assert found["in_date_share"] == pytest.approx(90 / 168)
    assert int(1000 * found["in_date_share"]) / 10 == 53.5
