"""Assigning a family and setting it aside: what holds, what ends it, and what it can never hide."""

import pytest

from analysis.decisions import call_list
from analysis.decisions.asked import Asked, arrangements_in_force, calls_done, families_asked
from analysis.policy import shipped_policy
from analysis.timeline import build
from tests.written import day, written

POLICY = shipped_policy()
LINES = """
line_id | family_id | child_id | site  | nurse | home_from  | dressing_on
L1      | F1        | C1       | north | N1    | 2031-02-01 | 2031-01-31
L2      | F2        | C2       | north | N2    | 2031-02-01 | 2031-01-31
"""
# On 10 March F1 is 3 days overdue and F2 in date.
OVERDUE = """
line_id | done_at    | kind            | findings | dressing_condition | received_at
L1      | 2031-02-28 | dressing_change | none     |                    | 2031-02-28T10:00
L2      | 2031-03-08 | dressing_change | none     |                    | 2031-03-08T10:00
"""
HEAD = "family_id | made_at | made_on | made_by | kind | assigned_to | until_on | why\n"
ASIDE = HEAD + "F1 | 2031-03-09T12:00 | 2031-03-09 | n9 | set_aside | | 2031-03-14 | at the lake\n"
CALL = "family_id | called_at | called_on | called_by | outcome | recheck_on\n"


def list_on(as_of="2031-03-10", **tables):
    records = written(**{"lines": LINES, "home_log": OVERDUE, **tables})
    timeline = build(records, POLICY, day(as_of))
    return call_list(timeline, records, POLICY), timeline, records


def bands(as_of="2031-03-10", **tables):
    families = list_on(as_of, **tables)[0].families
    return dict(zip(families["family_id"], families["band"].astype(str), strict=True))


def test_a_family_set_aside_is_not_listed_until_its_day_and_says_who_set_it_aside():
    assert bands()["F1"] == "call_today"
    found = list_on(arrangements=ASIDE)[0].families.iloc[0]
    assert (found["band"], found["aside_row"], found["call_row"]) == ("set_aside", 1, -1)
    assert found[["rank"]].isna().all()
    assert found["sentence"].startswith("Postponed until 14 Mar by n9. Dressing change")
    assert bands("2031-03-13", arrangements=ASIDE)["F1"] == "set_aside"
    assert bands("2031-03-14", arrangements=ASIDE)["F1"] == "call_today"


@pytest.mark.parametrize(
    "entry",
    [
        "L1 | 2031-03-10 | skin_check | fever   |       | 2031-03-10T09:00",
        "L1 | 2031-03-10 | skin_check | redness |       | 2031-03-10T09:00",
        "L1 | 2031-03-10 | skin_check | none    | loose | 2031-03-10T09:00",
    ],
)
def test_what_comes_in_after_it_lists_the_family_again(entry):
    assert bands(home_log=OVERDUE + entry, arrangements=ASIDE)["F1"] != "set_aside"


def test_what_was_known_when_it_was_set_aside_does_not():
    entry = "L1 | 2031-03-09 | skin_check | redness | loose | 2031-03-09T09:00"
    assert bands(home_log=OVERDUE + entry, arrangements=ASIDE)["F1"] == "set_aside"


def test_a_red_flag_that_no_call_answered_is_never_set_aside():
    fever = OVERDUE + "L1 | 2031-03-08 | skin_check | fever | | 2031-03-08T09:00"
    assert bands(home_log=fever, arrangements=ASIDE)["F1"] == "same_day_review"
    nobody = CALL + "F1 | 2031-03-09T10:00 | 2031-03-09 | n1 | no_answer | 2031-03-11"
    assert bands(home_log=fever, arrangements=ASIDE, calls=nobody)["F1"] == "same_day_review"
    answered = CALL + "F1 | 2031-03-09T10:00 | 2031-03-09 | n1 | reached | 2031-03-09"
    assert bands(home_log=fever, arrangements=ASIDE, calls=answered)["F1"] == "set_aside"


def test_of_a_call_and_a_setting_aside_the_newer_decides():
    later = CALL + "F1 | 2031-03-09T13:00 | 2031-03-09 | n1 | reached | 2031-03-10"
    assert bands(arrangements=ASIDE, calls=later)["F1"] == "call_today"
    waits = CALL + "F1 | 2031-03-09T13:00 | 2031-03-09 | n1 | reached | 2031-03-12"
    assert bands(arrangements=ASIDE, calls=waits)["F1"] == "waiting"
    earlier = CALL + "F1 | 2031-03-09T11:00 | 2031-03-09 | n1 | reached | 2031-03-12"
    assert bands(arrangements=ASIDE, calls=earlier)["F1"] == "set_aside"
    assert bands("2031-03-13", arrangements=ASIDE, calls=earlier)["F1"] == "set_aside"
    unanswered = later.replace("| reached |", "| no_answer |")
    assert bands(arrangements=ASIDE, calls=unanswered)["F1"] == "set_aside"


def test_setting_aside_knows_nothing_of_a_day_before_it():
    assert bands("2031-03-08", arrangements=ASIDE)["F1"] == "call_today"


GIVEN = HEAD + "F1 | 2031-03-09T12:00 | 2031-03-09 | n9 | assigned | N2 | |\n"


def test_a_family_assigned_is_called_by_that_person_and_not_by_its_nurse():
    found, _, records = list_on(arrangements=GIVEN)
    assert list(found.families["assigned_to"]) == ["N2"]
    assert list(families_asked(found, records, Asked(nurse="N2"))["family_id"]) == ["F1"]
    assert families_asked(found, records, Asked(nurse="N1")).empty


def test_an_assignment_ends_with_the_call_that_reaches_the_family():
    nobody = CALL + "F1 | 2031-03-10T09:00 | 2031-03-10 | n2 | no_answer | 2031-03-10"
    assert list_on(arrangements=GIVEN, calls=nobody)[0].families["assigned_to"].notna().all()
    spoke = CALL + "F1 | 2031-03-10T09:00 | 2031-03-10 | n2 | reached | 2031-03-10"
    found, timeline, records = list_on(arrangements=GIVEN, calls=spoke)
    assert found.families["assigned_to"].isna().all()
    # The call itself was that person's.
    assert len(calls_done(found, timeline, records, Asked(nurse="N2"))) == 1
    assert calls_done(found, timeline, records, Asked(nurse="N1")).empty
    again = spoke + "\nF1 | 2031-03-10T10:00 | 2031-03-10 | n1 | reached | 2031-03-12"
    found, timeline, records = list_on(arrangements=GIVEN, calls=again)
    assert len(calls_done(found, timeline, records, Asked(nurse="N1"))) == 1


def test_the_newest_assignment_holds():
    other = GIVEN + "F1 | 2031-03-09T13:00 | 2031-03-09 | n9 | assigned | N3 | |\n"
    assert list(list_on(arrangements=other)[0].families["assigned_to"]) == ["N3"]


def test_a_set_aside_family_without_a_reason_to_call_is_still_told():
    aside = ASIDE.replace("F1", "F2")
    found = list_on(arrangements=aside)[0].families.set_index("family_id")
    assert found.loc["F2", "sentence"] == "Postponed until 14 Mar by n9."
    assert found.loc["F1", "rank"] == 1


def test_what_is_in_force_is_listed_until_a_call_or_its_day_ends_it():
    both = ASIDE + "F1 | 2031-03-09T13:00 | 2031-03-09 | n9 | assigned | N2 | |\n"

    def in_force(as_of="2031-03-10", **tables):
        found, _, records = list_on(as_of, arrangements=both, **tables)
        return list(arrangements_in_force(found, records)["kind"])

    assert in_force() == ["assigned", "set_aside"]
    assert in_force("2031-03-14") == ["assigned"]
    assert in_force("2031-03-08") == []
    nobody = CALL + "F1 | 2031-03-10T09:00 | 2031-03-10 | n2 | no_answer | 2031-03-10"
    assert in_force(calls=nobody) == ["assigned", "set_aside"]
    assert in_force(calls=nobody.replace("| no_answer |", "| reached |")) == []
