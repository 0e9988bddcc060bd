"""What a family's recent log shows that may come before harm, counted by hand."""

from datetime import date

import pandas as pd

from analysis.decisions.mornings import morning
from analysis.policy import shipped_policy
from tests.written import written

POLICY = shipped_policy()
LINES = """
line_id | child_id | family_id | home_from  | dressing_on | removed_on
L1      | C1       | F1        | 2031-01-01 | 2031-01-01  |
L2      | C2       | F2        | 2031-01-01 | 2031-01-01  |
L3      | C3       | F3        | 2031-01-01 | 2031-01-01  | 2031-02-20
L4      | C4       | F3        | 2031-03-01 | 2031-03-01  |
"""
# F1: dressings found loose on 20 Jan (over eight weeks ago on 20 Mar), 1 Feb and 10 Mar; K2
# first writes on 15 Mar. F3: what was seen at its line that is gone does not count.
LOG = """
line_id | done_at    | kind            | findings | dressing_condition | caregiver_id
L1      | 2031-01-20 | dressing_change | none     | loose              | K1
L1      | 2031-02-01 | dressing_change | redness  | damp               | K1
L1      | 2031-02-03 | skin_check      | redness  |                    | K1
L1      | 2031-03-10 | dressing_change | none     | soiled             | K1
L1      | 2031-03-15 | skin_check      | none     |                    | K2
L2      | 2031-03-15 | dressing_change | none     | intact             |
L3      | 2031-02-10 | dressing_change | redness  | loose              | K3
L4      | 2031-03-20 | skin_check      | redness  |                    | K3
L1      | 2031-03-21 | skin_check      | redness  |                    | K9
"""
SIGNS = ["days_since_finding", "spoiled_recently", "spoiled_often", "days_since_new_caregiver"]


def signs(day, **tables):
    frame = morning(written(lines=LINES, **tables), POLICY, day).set_index("family_id")[SIGNS]
    return {
        family: [None if pd.isna(v) else int(v) for v in row]
        for family, row in zip(frame.index, frame.astype(object).to_numpy(), strict=True)
    }


def test_recent_signs_are_counted_by_family_from_what_is_dated_by_the_morning():
    assert signs(date(2031, 3, 20), home_log=LOG) == {
        "F1": [45, 1, 2, 5],
        "F2": [None, 0, 0, None],
        "F3": [0, 0, 0, 38],
    }


def test_without_a_log_there_are_no_signs():
    empty = LOG.strip().splitlines()[0] + "\n"
    assert signs(date(2031, 3, 20), home_log=empty) == {
        f: [None, 0, 0, None] for f in ("F1", "F2", "F3")
    }


def test_a_caregiver_is_not_new_because_the_line_has_another_family():
    head, first, *rest = LINES.strip().splitlines()
    lines = "\n".join(
        [
            f"{head} | valid_from | received_at",
            f"{first.replace('F1', 'F9')} | 2031-03-18 | 2031-03-18",
            *(f"{line} | | 2031-01-01" for line in rest),
        ]
    )
    earlier = "line_id | family_id | received_at\nL1 | F1 | 2031-01-01"
    log = LOG.strip().splitlines()
    named = [f"{log[0]} | family_id", *(f"{line} | F1" for line in log[1:6])]
    later = "L1 | 2031-03-19 | skin_check | none | | K1 | F9"
    tables = {"lines": lines, "earlier_lines": earlier, "home_log": "\n".join([*named, later])}
    frame = morning(written(**tables), POLICY, date(2031, 3, 20)).set_index("family_id")
    # K2 wrote first on the 15th; K1's entry of the 19th is not the first of K1.
    assert frame.loc["F9", "days_since_new_caregiver"] == 5
