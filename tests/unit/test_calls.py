"""Each reason for a call, the waiting after one, and the calling order (definitions §7)."""

import pytest

from analysis.decisions import call_list
from analysis.policy import shipped_policy
from analysis.timeline import build
from tests.written import day, written

POLICY = shipped_policy()
ONE_LINE = """
line_id | home_from  | dressing_on
L1      | 2031-02-01 | 2031-01-31
"""
FRESH = "L1 | 2031-03-08 | dressing_change |"


def calls_on(as_of, **tables):
    tables.setdefault("lines", ONE_LINE)
    records = written(**tables)
    return call_list(build(records, POLICY, day(as_of)), records, POLICY)


def log(*rows, head="line_id | done_at | kind | findings"):
    return "\n".join([head, *rows])


def reasons_on(as_of, **tables):
    found = calls_on(as_of, **tables)
    return list(found.reasons["reason"])


def band_on(as_of, **tables):
    families = calls_on(as_of, **tables).families
    return dict(zip(families["family_id"], families["band"], strict=True)).get("F1", "no_call")


def test_a_family_in_date_and_heard_from_is_not_called():
    found = calls_on("2031-03-10", home_log=log(FRESH))
    assert found.families.empty
    assert found.reasons.empty
    assert found.evidence.empty


def test_nothing_at_all_gives_an_empty_list():
    assert calls_on("2031-03-10", lines="line_id | home_from | family_id\n").families.empty


def test_a_red_flag_is_a_same_day_review_and_names_what_was_seen():
    entries = log(FRESH, "L1 | 2031-03-09 | skin_check | fever;redness")
    found = calls_on("2031-03-10", home_log=entries)
    first = found.families.iloc[0]
    assert first["band"] == "same_day_review"
    assert first["sentence"].startswith("Fever, reported 9 Mar. Redness on 9 Mar")
    proof = found.evidence[found.evidence["reason"] == "red_flag"]
    assert list(proof["row"]) == [2]


def test_a_red_flag_older_than_the_window_is_no_reason():
    entries = log("L1 | 2031-02-22 | skin_check | fever", FRESH)
    assert "red_flag" not in reasons_on("2031-03-09", home_log=entries)
    assert "red_flag" in reasons_on("2031-03-08", home_log=entries)


CALL_HEAD = "family_id | called_at | called_on | called_by | outcome | recheck_on\n"
REACHED = CALL_HEAD + "F1 | 2031-03-09T12:00 | 2031-03-09 | n1 | reached | 2031-03-11"
NOT_REACHED = CALL_HEAD + "F1 | 2031-03-09T12:00 | 2031-03-09 | n1 | no_answer | 2031-03-11"
FEVER = """
line_id | done_at    | kind            | findings | received_at
L1      | 2031-03-08 | dressing_change |          | 2031-03-08T10:00
L1      | 2031-03-09 | skin_check      | fever    | 2031-03-09T10:00
"""


def test_a_call_answers_what_was_received_before_it():
    assert reasons_on("2031-03-10", home_log=FEVER, calls=REACHED) == []
    assert band_on("2031-03-10", home_log=FEVER, calls=REACHED) == "waiting"
    assert band_on("2031-03-11", home_log=FEVER, calls=REACHED) == "no_call"


def test_a_call_that_reached_nobody_does_not_answer_a_red_flag():
    assert band_on("2031-03-10", home_log=FEVER, calls=NOT_REACHED) == "same_day_review"


def test_a_red_flag_received_after_the_call_ends_the_waiting():
    later = FEVER + "L1 | 2031-03-09 | skin_check | chills | 2031-03-09T13:00\n"
    found = calls_on("2031-03-10", home_log=later, calls=REACHED)
    assert found.families.iloc[0]["band"] == "same_day_review"
    assert "Chills" in found.families.iloc[0]["sentence"]
    assert "ever" not in found.families.iloc[0]["sentence"]


def test_an_overdue_family_waits_after_a_call_until_the_recheck_day():
    entries = log("L1 | 2031-03-01 | dressing_change |")
    assert band_on("2031-03-09", home_log=entries) == "call_today"
    assert band_on("2031-03-10", home_log=entries, calls=REACHED) == "waiting"
    assert band_on("2031-03-11", home_log=entries, calls=REACHED) == "call_today"


def test_a_call_without_an_answer_hides_nothing_and_is_shown():
    entries = log("L1 | 2031-03-01 | dressing_change |")
    first = calls_on("2031-03-09", home_log=entries, calls=NOT_REACHED).families.iloc[0]
    assert (first["band"], first["attempt_days"]) == ("call_today", 1)
    assert first["sentence"].startswith("Tried 12:00, no answer. Dressing change")


SEVERAL = """
line_id | child_id | family_id | home_from  | dressing_on
L1      | C1       | F1        | 2031-02-01 | 2031-02-20
L2      | C2       | F2        | 2031-02-01 | 2031-02-25
L3      | C3       | F3        | 2031-02-01 | 2031-02-28
"""
HEARD = log(*(f"L{n} | 2031-03-08 | note |" for n in (1, 2, 3)))


def test_families_tried_today_come_after_those_of_their_band_not_yet_tried():
    def order(calls):
        found = calls_on("2031-03-09", lines=SEVERAL, home_log=HEARD, calls=calls).families
        return list(found["family_id"])

    tried = CALL_HEAD + "F1 | 2031-03-09T08:10 | 2031-03-09 | n1 | no_answer | 2031-03-11\n"
    assert order(CALL_HEAD) == ["F1", "F2", "F3"]
    assert order(tried) == ["F2", "F3", "F1"]
    assert order(tried.replace("03-09", "03-08")) == ["F1", "F2", "F3"]


def test_a_red_flag_tried_today_keeps_its_place():
    entries = HEARD + "\nL3 | 2031-03-09 | skin_check | fever\nL2 | 2031-03-07 | note | chills"
    tried = CALL_HEAD + "F3 | 2031-03-09T08:10 | 2031-03-09 | n1 | no_answer | 2031-03-11\n"
    found = calls_on("2031-03-09", lines=SEVERAL, home_log=entries, calls=tried).families
    assert list(found["family_id"]) == ["F3", "F2", "F1"]
    assert found.iloc[0]["sentence"].startswith("Tried 08:10, no answer. Fever")


@pytest.mark.parametrize(
    ("tried", "days", "asks"),
    [
        (("03-09",), 1, False),
        (("03-08", "03-09"), 2, True),
        (("03-07", "03-08"), 2, True),
        (("03-06", "03-09"), 2, True),  # a weekend does not break the row
        (("03-05", "03-09"), 1, False),
        (("03-04", "03-05"), 0, False),  # the row is over
        (("03-08", "03-08"), 1, False),
    ],
)
def test_after_two_days_in_a_row_without_an_answer_another_way_is_asked_for(tried, days, asks):
    calls = CALL_HEAD + "\n".join(
        f"F1 | 2031-{d}T1{n}:00 | 2031-{d} | n1 | no_answer | 2031-03-11"
        for n, d in enumerate(tried)
    )
    entries = log("L1 | 2031-03-01 | dressing_change |")
    first = calls_on("2031-03-09", home_log=entries, calls=calls).families.iloc[0]
    assert first["attempt_days"] == days
    assert ("find another way to reach the family" in first["sentence"]) is asks


def test_reaching_the_family_ends_a_row_of_attempts():
    calls = NOT_REACHED + "\nF1 | 2031-03-09T13:00 | 2031-03-09 | n1 | reached | 2031-03-09\n"
    entries = log("L1 | 2031-03-01 | dressing_change |")
    first = calls_on("2031-03-09", home_log=entries, calls=calls).families.iloc[0]
    assert (first["attempt_days"], first["band"]) == (0, "call_today")
    assert first["sentence"].startswith("Dressing change")


def test_red_flags_come_newest_first_then_most_first():
    flags = (
        "L1 | 2031-03-05 | skin_check | fever",
        "L2 | 2031-03-07 | skin_check | fever",
        "L3 | 2031-03-07 | skin_check | fever;chills",
    )
    found = calls_on("2031-03-09", lines=SEVERAL, home_log=log(*flags)).families
    assert list(found["family_id"]) == ["F3", "F2", "F1"]
    assert list(found["red_flags"]) == [2, 1, 1]
    assert found.iloc[0]["sentence"].startswith("Fever, chills, reported 7 Mar.")


def test_a_family_back_from_hospital_yesterday_is_not_silent():
    stays = "child_id | from_on | to_on | dressing_on\nC1 | 2031-02-10 | 2031-03-08 | 2031-03-07"
    entries = log("L1 | 2031-02-08 | dressing_change |")
    assert reasons_on("2031-03-09", home_log=entries, stays=stays) == []
    assert reasons_on("2031-03-17", home_log=entries, stays=stays) == ["overdue", "silent"]
    late = calls_on("2031-03-17", home_log=entries, stays=stays).reasons.iloc[1]
    assert late["sentence"] == (
        "No log entries for 9 days (at home since 8 Mar, last entry 8 Feb)."
    )


def test_a_family_with_a_new_line_since_two_days_is_not_silent():
    lines = """
line_id | home_from  | removed_on | removal_reason | dressing_on
L1      | 2031-01-01 | 2031-02-10 | occlusion      |
L2      | 2031-03-07 |            |                | 2031-03-07
"""
    entries = log("L1 | 2031-02-08 | dressing_change |")
    assert reasons_on("2031-03-09", lines=lines, home_log=entries) == []


@pytest.mark.parametrize(
    ("row", "broken"),
    [
        ("L1 | 2031-03-10 | skin_check | redness |       | 2031-03-10T09:00", True),
        ("L1 | 2031-03-10 | skin_check |         | loose | 2031-03-10T09:00", True),
        ("L1 | 2031-03-10 | skin_check | none    | intact | 2031-03-10T09:00", False),
        ("L1 | 2031-03-08 | skin_check |         | loose | 2031-03-08T09:00", False),
    ],
)
def test_news_after_the_call_ends_the_waiting(row, broken):
    entries = f"""
line_id | done_at | kind | findings | dressing_condition | received_at
L1 | 2031-03-01 | dressing_change | | | 2031-03-01T09:00
{row}
"""
    got = band_on("2031-03-10", home_log=entries, calls=REACHED)
    assert got == ("call_today" if broken else "waiting")


def test_a_compromised_dressing_is_a_call_today():
    entries = log(
        FRESH,
        "L1 | 2031-03-09 | skin_check | damp",
        head="line_id | done_at | kind | dressing_condition",
    )
    first = calls_on("2031-03-10", home_log=entries).families.iloc[0]
    assert (first["band"], first["reasons"]) == ("call_today", "compromised")
    assert "found damp on 9 Mar, no change logged since." in first["sentence"]
    assert first["days_overdue"] == 1


@pytest.mark.parametrize(("as_of", "called"), [("2031-03-15", False), ("2031-03-16", True)])
def test_overdue_calls_from_the_day_after_the_due_day(as_of, called):
    assert ("overdue" in reasons_on(as_of, home_log=log(FRESH))) is called


def test_overdue_and_silent_is_said_as_overdue_or_not_logged():
    assert (
        "1 day overdue (" in calls_on("2031-03-16", home_log=log(FRESH)).families.iloc[0].sentence
    )
    late = calls_on("2031-03-17", home_log=log(FRESH)).families.iloc[0]
    assert "2 days overdue or not logged (last changed 8 Mar, due by 15 Mar)." in late["sentence"]
    assert late["reasons"] == "overdue;silent"


def test_a_skin_finding_is_open_until_a_later_entry_says_none():
    seen = (FRESH, "L1 | 2031-03-08 | skin_check | redness")
    assert reasons_on("2031-03-10", home_log=log(*seen)) == ["skin_event_open"]
    assert reasons_on("2031-03-12", home_log=log(*seen)) == []
    same_day = (*seen, "L1 | 2031-03-08 | skin_check | none")
    assert reasons_on("2031-03-10", home_log=log(*same_day)) == ["skin_event_open"]
    cleared = (*seen, "L1 | 2031-03-09 | skin_check | none")
    assert reasons_on("2031-03-10", home_log=log(*cleared)) == []


def test_a_family_never_heard_from_is_silent_from_coming_home():
    lines = "line_id | home_from | dressing_on\nL1 | 2031-03-01 | 2031-03-06"
    assert reasons_on("2031-03-09", lines=lines) == []
    assert reasons_on("2031-03-10", lines=lines) == ["silent"]


def test_a_state_unknown_for_three_days_is_a_reason():
    lines = "line_id | home_from\nL1 | 2031-03-01"
    assert reasons_on("2031-03-03", lines=lines) == []
    assert reasons_on("2031-03-04", lines=lines) == ["state_unknown"]


def test_two_dressings_that_lift_early_are_a_reason():
    entries = log(
        "L1 | 2031-02-20 | dressing_change | scheduled",
        "L1 | 2031-02-24 | dressing_change | loose",
        "L1 | 2031-03-03 | dressing_change | scheduled",
        "L1 | 2031-03-08 | dressing_change | loose",
        head="line_id | done_at | kind | change_reason",
    )
    found = calls_on("2031-03-09", home_log=entries)
    assert list(found.reasons["reason"]) == ["early_failures"]
    assert "2 of the last 4 dressings" in found.reasons.iloc[0]["sentence"]
    assert sorted(found.evidence["row"]) == [2, 4]


def test_a_dressing_found_loose_late_in_its_interval_is_no_early_failure():
    entries = log(
        "L1 | 2031-02-20 | dressing_change | scheduled",
        "L1 | 2031-02-24 | dressing_change | loose",
        "L1 | 2031-03-02 | dressing_change | scheduled",
        "L1 | 2031-03-08 | dressing_change | loose",
        head="line_id | done_at | kind | change_reason",
    )
    assert reasons_on("2031-03-09", home_log=entries) == []


def test_one_late_change_in_three_is_no_pattern_two_in_five_is():
    changed = ("2031-02-07", "2031-02-16", "2031-02-25", "2031-03-04")
    entries = [f"L1 | {d} | dressing_change |" for d in changed]
    # Changes of 31 Jan and 7, 16, 25 Feb end on time, late, late, on time.
    assert reasons_on("2031-03-05", home_log=log(*entries)) == ["late_pattern"]
    assert reasons_on("2031-03-03", home_log=log(*entries[:3])) == []


def test_kits_are_counted_down_by_the_changes_since():
    entries = """
line_id | done_at    | kind            | kits_left
L1      | 2031-02-20 | supply_count    | 4
L1      | 2031-02-24 | dressing_change |
L1      | 2031-03-01 | dressing_change |
L1      | 2031-03-01 | dressing_change |
L1      | 2031-03-08 | dressing_change |
"""
    assert reasons_on("2031-03-07", home_log=entries) == []
    found = calls_on("2031-03-09", home_log=entries)
    assert list(found.reasons["reason"]) == ["kits_short"]
    assert "Running low on kits: 4 on 20 Feb, 3 used since." in found.reasons.iloc[0]["sentence"]


def test_a_kit_count_is_believed_only_until_the_next_delivery():
    counted = log(
        "L1 | 2031-01-20 | supply_count | 14",
        *(f"L1 | 2031-{d} | dressing_change |" for d in ("02-03", "02-10", "02-17", "02-24")),
        *(f"L1 | 2031-03-{d:02} | dressing_change |" for d in range(1, 11)),
        head="line_id | done_at | kind | kits_left",
    )
    assert "kits_short" not in reasons_on("2031-03-10", home_log=counted)
    count = "line_id | done_at | kind | kits_left\nL1 | {} | supply_count | 1\n{}"
    fresh = "L1 | 2031-03-08 | dressing_change |"
    assert reasons_on("2031-03-10", home_log=count.format("2031-02-08", fresh)) == ["kits_short"]
    assert reasons_on("2031-03-11", home_log=count.format("2031-02-08", fresh)) == []
    weekly = (
        "line_id | home_from | dressing_on | kit_delivery_days\nL1 | 2031-02-01 | 2031-01-31 | 7"
    )
    late = count.format("2031-03-04", fresh)
    assert reasons_on("2031-03-10", lines=weekly, home_log=late) == ["kits_short"]
    assert reasons_on("2031-03-11", lines=weekly, home_log=late) == []


def test_kits_never_go_below_zero():
    entries = """
line_id | done_at    | kind            | kits_left
L1      | 2031-03-01 | supply_count    | 1
L1      | 2031-03-04 | dressing_change |
L1      | 2031-03-08 | dressing_change |
"""
    found = calls_on("2031-03-09", home_log=entries).reasons.iloc[0]
    assert found["sentence"] == "No kits left by the count: 1 on 1 Mar, 2 changes since."


SIGNED = "caregiver_id | skill | signed_on | outcome\n"
BY_G1 = """
line_id | done_at    | kind            | caregiver_id
L1      | 2031-03-08 | dressing_change | G1
"""


@pytest.mark.parametrize(
    ("signed", "called"),
    [
        ("", True),
        ("G1 | dressing_change | 2031-01-10 | independent", False),
        ("G1 | dressing_change | 2030-03-10 | independent", False),
        ("G1 | dressing_change | 2030-03-08 | independent", False),  # current on the day: the 8th
        ("G1 | dressing_change | 2030-03-07 | independent", True),
        ("G1 | dressing_change | 2031-03-09 | independent", True),  # only after the change
        ("G1 | flush | 2031-01-10 | independent", True),
        ("G1 | dressing_change | 2031-01-10 | with_help", True),
        (
            (
                "G1 | dressing_change | 2031-01-10 | independent\n"
                "G1 | dressing_change | 2031-02-10 | not_yet"
            ),
            True,
        ),
        ("G1 | dressing_change | 2031-03-20 | independent", True),
    ],
)
def test_a_change_needs_a_current_independent_sign_off(signed, called):
    got = reasons_on("2031-03-09", home_log=BY_G1, sign_offs=SIGNED + signed)
    assert got == (["no_sign_off"] if called else [])


def test_a_change_by_nobody_named_asks_for_no_sign_off():
    assert reasons_on("2031-03-09", home_log=log(FRESH), sign_offs=SIGNED) == []


def test_other_tasks_overdue_give_one_reason_of_the_week():
    entries = log(FRESH, "L1 | 2031-02-20 | connector_change |")
    found = calls_on("2031-03-10", home_log=entries)
    assert list(found.reasons["reason"]) == ["overdue_connector"]
    assert found.families.iloc[0]["band"] == "call_this_week"


def test_a_child_away_gives_no_reason():
    stays = "child_id | from_on\nC1 | 2031-03-09"
    entries = log("L1 | 2031-02-01 | dressing_change |", "L1 | 2031-03-09 | skin_check | fever")
    assert calls_on("2031-03-10", home_log=entries, stays=stays).families.empty


def test_one_call_covers_all_lines_of_a_family_and_names_the_line():
    lines = """
line_id | child_id | home_from  | dressing_on
L1      | C1       | 2031-02-01 | 2031-03-01
L2      | C2       | 2031-02-01 | 2031-03-04
"""
    entries = log("L1 | 2031-03-11 | note |")
    found = calls_on("2031-03-12", lines=lines, home_log=entries)
    assert len(found.families) == 1
    first = found.families.iloc[0]
    assert first["line_ids"] == "L1;L2"
    assert (first["days_overdue"], first["n_reasons"]) == (4, 1)
    assert "Line L1: Dressing change 4 days overdue" in first["sentence"]


def test_order_is_by_band_then_days_overdue_reasons_silence_and_code():
    lines = """
line_id | child_id | family_id | home_from  | dressing_on
L1      | C1       | F1        | 2031-03-01 | 2031-03-01
L2      | C2       | F2        | 2031-03-01 | 2031-03-03
L3      | C3       | F3        | 2031-03-01 | 2031-03-03
L4      | C4       | F4        | 2031-03-01 | 2031-03-03
L5      | C5       | F5        | 2031-03-01 | 2031-03-10
"""
    entries = log(
        "L1 | 2031-03-11 | note |",
        "L2 | 2031-03-11 | note |",
        "L3 | 2031-03-10 | note |",
        "L4 | 2031-03-10 | note |",
        "L5 | 2031-03-11 | skin_check | fever",
    )
    found = calls_on("2031-03-12", lines=lines, home_log=entries).families
    assert list(found["family_id"]) == ["F5", "F1", "F3", "F4", "F2"]
    assert list(found["rank"]) == [1, 2, 3, 4, 5]


def test_a_dressing_the_clinic_changed_is_proven_by_the_stay_that_says_so():
    stays = "child_id | from_on | to_on | dressing_on\nC1 | 2031-03-01 | 2031-03-03 | 2031-03-02"
    entries = log("L1 | 2031-03-09 | note |")
    found = calls_on("2031-03-11", home_log=entries, stays=stays)
    assert list(found.reasons["reason"]) == ["overdue"]
    assert list(found.evidence["table"]) == ["stays"]


def test_a_dressing_changed_before_coming_home_is_proven_by_the_line():
    lines = "line_id | home_from | dressing_on\nL1 | 2031-03-01 | 2031-03-01"
    found = calls_on("2031-03-09", lines=lines, home_log=log("L1 | 2031-03-08 | note |"))
    assert list(found.evidence["table"]) == ["lines"]


def test_a_state_unknown_since_a_stay_is_proven_by_the_stay():
    stays = "child_id | from_on | to_on\nC1 | 2031-03-01 | 2031-03-03"
    found = calls_on("2031-03-06", home_log=log("L1 | 2031-03-03 | note |"), stays=stays)
    assert list(found.reasons["reason"]) == ["state_unknown"]
    assert "since coming home on 3 Mar" in found.reasons.iloc[0]["sentence"]
    assert list(found.evidence["table"]) == ["stays"]
