"""Who needs retraining on which step, on logs small enough to count by hand."""

import numpy as np
import pandas as pd
import pytest

from analysis.decisions.learning import learning_curve
from analysis.decisions.practice import practice
from analysis.decisions.refresher_effect import (
    before_and_after,
    control_effect,
    effect_of,
    trial_of,
)
from analysis.decisions.refresher_trials import moments_of
from analysis.decisions.refreshers import control_sentence, refreshers, refreshers_by_family, taught
from analysis.decisions.retraining import not_signed_off, retraining
from analysis.decisions.sessions import group_sessions
from analysis.policy import shipped_policy
from analysis.tables.retraining import REFRESHERS
from analysis.timeline import build
from tests.written import day, written

POLICY = shipped_policy()
LINES = """
line_id | child_id | family_id | site  | home_from  | dressing_on
L1      | C1       | F1        | north | 2031-03-01 | 2031-03-01
L2      | C2       | F2        | north | 2031-03-01 | 2031-03-01
"""
# K1 checks herself three times and leaves the mask out twice; the blank says nothing.
LOG = """
line_id | done_at    | kind            | caregiver_id | steps_missed   | findings
L1      | 2031-03-08 | dressing_change | K1           | mask           |
L1      | 2031-03-15 | dressing_change | K1           | mask;hand_wash |
L1      | 2031-03-22 | dressing_change | K1           | none           |
L1      | 2031-03-29 | dressing_change | K1           |                |
L2      | 2031-03-08 | dressing_change | K2           | none           |
L2      | 2031-03-10 | skin_check      | K2           |                | redness
L2      | 2031-03-18 | dressing_change |              | none           |
"""
SIGNED = """
caregiver_id | skill           | signed_on  | outcome     | kind
K1           | dressing_change | 2031-02-20 | independent | first
"""


def read(as_of="2031-04-02", **tables):
    tables = {"lines": LINES, "home_log": LOG, "sign_offs": SIGNED, **tables}
    records = written(**tables)
    return build(records, POLICY, day(as_of)), records


def seen_of(step, **tables):
    told = practice(*read(**tables), POLICY)
    return told[told["step"] == step]


def needs(**tables):
    table = retraining(*read(**tables), POLICY)
    return table.set_index(["family_id", "step"])


def test_a_blank_self_check_is_no_evidence_and_none_is_a_step_done():
    seen = seen_of("mask").groupby("family_id", observed=True)["missed"].agg(["size", "sum"])
    assert seen.loc["F1"].tolist() == [3, 2]
    assert seen.loc["F2"].tolist() == [2, 0]


def test_the_table_counts_and_names_the_rows():
    table = needs()
    assert table.loc[("F1", "mask"), ["seen", "missed", "evidence"]].tolist() == [3, 2, "1;2"]
    assert table.loc[("F1", "hand_wash"), ["seen", "missed", "evidence"]].tolist() == [3, 1, "2"]
    assert ("F2", "mask") not in table.index


def test_a_share_is_adjusted_towards_the_programme():
    table = needs()
    own, programme = 2 / 3, 2 / 5
    assert programme <= table.loc[("F1", "mask"), "shrunk_share"] < own
    assert 0 < table.loc[("F1", "mask"), "prob_above"] < 1


def test_a_skin_finding_within_three_days_is_counted_to_who_changed():
    seen = seen_of("skin_after_change")
    found = seen[seen["missed"]]
    assert found[["family_id", "caregiver_id", "row"]].values.tolist() == [["F2", "K2", 6]]


def test_a_finding_four_days_after_or_on_the_change_is_not_counted():
    log = LOG.replace("2031-03-10", "2031-03-12")
    assert not seen_of("skin_after_change", home_log=log)["missed"].any()
    log = LOG.replace("2031-03-10", "2031-03-08")
    assert not seen_of("skin_after_change", home_log=log)["missed"].any()


def test_a_late_change_is_shown_by_the_change_that_came_late():
    found = seen_of("late_change")
    late = found[found["missed"] & (found["family_id"] == "F2")]
    # Due on the 15th and done on the 18th; the one due on the 25th never came.
    assert late["row"].tolist() == [7, 7]
    assert late["caregiver_id"].isna().tolist() == [True, True]


def test_an_early_failure_is_counted_to_who_put_the_dressing_on():
    log = LOG.replace(
        "| 2031-03-10 | skin_check      | K2           |                | redness",
        "| 2031-03-10 | skin_check      | K9           |                |",
    )
    head, *rows = log.strip().splitlines()
    rows = [f"{r} | {'loose' if 'skin_check' in r else ''}" for r in rows]
    seen = seen_of("early_failure", home_log="\n".join([head + " | dressing_condition", *rows]))
    failed = seen[seen["missed"]]
    assert failed[["caregiver_id", "row"]].values.tolist() == [["K2", 6]]


def test_changes_without_a_sign_off_are_facts_not_shares():
    table = needs()
    assert ("F1", "no_sign_off") not in table.index
    unsigned = table.loc[("F2", "no_sign_off")]
    assert unsigned[["seen", "missed", "evidence"]].tolist() == [1, 1, "5"]
    assert np.isnan(unsigned["prob_above"])


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("K2 | dressing_change | 2030-03-01 | independent | first", "expired"),
        ("K2 | dressing_change | 2031-02-25 | with_help | first", "with_help"),
        ("K2 | flush | 2031-02-25 | independent | first", "never"),
    ],
)
def test_the_list_says_why_there_is_no_current_sign_off(row, why):
    found = not_signed_off(*read(sign_offs=SIGNED + row), POLICY)
    assert found[["caregiver_id", "why", "changes"]].values.tolist() == [["K2", why, 1]]


def test_a_current_sign_off_clears_the_list():
    row = "K2 | dressing_change | 2031-03-01 | independent | first"
    assert not_signed_off(*read(sign_offs=SIGNED + row), POLICY).empty


def test_occasions_before_a_day_can_be_left_out():
    table = retraining(*read(), POLICY, since=day("2031-03-09")).set_index(["family_id", "step"])
    assert table.loc[("F1", "mask"), ["seen", "missed"]].tolist() == [2, 1]


def test_families_without_a_line_in_place_are_not_listed():
    lines = LINES.replace("dressing_on", "dressing_on | removed_on", 1)
    lines = lines.replace(
        "L1      | C1       | F1        | north | 2031-03-01 | 2031-03-01",
        "L1 | C1 | F1 | north | 2031-03-01 | 2031-03-01 | 2031-04-01",
    )
    lines = lines.replace(
        "L2      | C2       | F2        | north | 2031-03-01 | 2031-03-01",
        "L2 | C2 | F2 | north | 2031-03-01 | 2031-03-01 | ",
    )
    assert "F1" not in needs(lines=lines).index.get_level_values("family_id")


REFRESHER = "{} | dressing_change | {} | independent | refresher\n"


def history(name, *parts, first="2030-06-01"):
    """Weekly changes of a family, each part so many with the mask left out or not."""
    on = pd.Timestamp(first)
    rows = []
    for missed, count in parts:
        for _ in range(count):
            step = "mask" if missed else "none"
            rows.append(f"L{name} | {on.date()} | dressing_change | K{name} | {step}")
            on += pd.Timedelta(days=7)
    return rows


def needs_at(as_of, histories, refreshers=()):
    """Needs of the mask, by family, of a programme of families F1, F2, …"""
    names = sorted(histories)
    head = "line_id | child_id | family_id | site | home_from | dressing_on"
    lines = [f"L{n} | C{n} | F{n} | north | 2030-05-01 | 2030-05-01" for n in names]
    log = ["line_id | done_at | kind | caregiver_id | steps_missed"]
    log += [row for n in names for row in histories[n]]
    signed = [SIGNED.strip().splitlines()[0], *(REFRESHER.format(*one) for one in refreshers)]
    table = retraining(
        *read(
            as_of,
            lines="\n".join([head, *lines]),
            home_log="\n".join(log),
            sign_offs="\n".join(line.strip() for line in signed),
        ),
        POLICY,
    )
    return table[table["step"] == "mask"].set_index("family_id")


OTHERS = {n: history(n, (True, 1), (False, 20), first="2030-12-01") for n in range(3, 9)}


def test_none_of_fifty_one_missed_since_the_refresher_is_improved_and_not_retrain():
    # 30 of 40 missed, then 51 daily changes without one
    before = history(1, (True, 30), (False, 10), first="2030-03-01")
    since = [
        f"L1 | {day_.date()} | dressing_change | K1 | none"
        for day_ in pd.date_range("2031-02-01", periods=51)
    ]
    found = needs_at("2031-04-01", {1: before + since, **OTHERS}, [("K1", "2031-02-01")])
    own = found.loc["F1"]
    assert own[["seen", "missed", "seen_before", "missed_before"]].tolist() == [51, 0, 40, 30]
    assert own["state"] == "improved"
    assert own["prob_above"] < 0.02
    assert (own["refreshed_on"], own["recent_from"]) == (pd.Timestamp("2031-02-01"),) * 2


def test_the_last_seven_of_seven_missed_is_retrain_whatever_was_long_ago():
    own = history(1, (False, 90), (True, 7), first="2029-05-20")
    found = needs_at("2031-04-01", {1: own, **OTHERS}).loc["F1"]
    assert found["state"] == "retrain"
    assert found["missed"] == 7
    assert (found["missed_before"], found["missed_in_row"]) == (0, 7)


def test_few_changes_since_a_refresher_are_too_early_to_tell():
    own = history(1, (True, 12), first="2031-01-01")  # the last three after 5 March
    found = needs_at("2031-03-25", {1: own, **OTHERS}, [("K1", "2031-03-05")]).loc["F1"]
    assert (found["state"], found["seen"], found["seen_before"]) == ("too_early", 3, 9)
    assert needs_at("2031-03-25", {1: own, **OTHERS}).loc["F1", "state"] == "retrain"


def test_neither_bad_nor_clearly_better_since_a_refresher_is_watched():
    own = history(1, (True, 1), (False, 1), (True, 1), (False, 5), first="2031-02-01")
    found = needs_at("2031-04-01", {1: own, **OTHERS}, [("K1", "2031-01-31")]).loc["F1"]
    assert (found["state"], found["seen"], found["missed"]) == ("watch", 8, 2)


def test_a_refresher_marked_done_changes_the_list():
    own = history(1, (True, 12), first="2031-01-01")
    bad = {1: own, **OTHERS}
    assert needs_at("2031-03-25", bad).loc["F1", "state"] == "retrain"
    marked = needs_at("2031-03-25", bad, [("K1", "2031-03-24")]).loc["F1"]
    assert (marked["state"], marked["seen"], marked["missed_before"]) == ("too_early", 0, 12)


def test_evidence_older_than_the_window_is_history():
    own = history(1, (True, 20), (False, 30), first="2030-04-01")
    found = needs_at("2031-03-10", {1: own, **OTHERS})
    assert "F1" not in found.index


def test_one_of_22_and_9_of_18_differ_though_no_difference_between_families_is_found():
    rows = {n: history(n, (True, 4), (False, 16), first="2030-11-01") for n in range(3, 33)}
    rows[1] = history(1, (True, 1), (False, 21), first="2030-11-01")
    rows[2] = history(2, (True, 9), (False, 9), first="2030-11-01")
    found = needs_at("2031-04-05", rows)
    assert found.loc["F2", "prob_above"] > found.loc["F1", "prob_above"] + 0.3


def test_a_session_does_not_invite_a_programme_of_equal_families_near_the_limit():
    rows = {n: history(n, (True, 4), (False, 17), first="2030-11-01") for n in range(1, 41)}
    found = needs_at("2031-04-05", rows)
    assert (found["state"] == "retrain").sum() == 0


def test_nothing_logged_gives_empty_tables():
    timeline, records = read(home_log="line_id | done_at | kind\n")
    seen = practice(timeline, records, POLICY)
    assert retraining(timeline, records, POLICY).empty
    assert not_signed_off(timeline, records, POLICY).empty
    assert learning_curve(seen, records).empty
    assert group_sessions(retraining(timeline, records, POLICY), timeline).empty


def test_the_learning_curve_counts_changes_since_the_first_sign_off():
    timeline, records = read()
    curve = learning_curve(practice(timeline, records, POLICY), records)
    mask = curve[curve["step"] == "mask"]
    assert mask[["first_change", "last_change", "families", "seen", "missed"]].values.tolist() == [
        [1, 5, 1, 3, 2]
    ]


def test_a_group_session_joins_families_of_a_site_that_share_a_step():
    timeline, _ = read()
    table = pd.DataFrame(
        {
            "family_id": pd.array(["F1", "F2", "F1"], dtype="string"),
            "caregiver_id": pd.array(["K1", None, "K1"], dtype="string"),
            "step": pd.array(["mask", "mask", "hand_wash"], dtype="string"),
            "prob_above": [0.9, 0.85, 0.9],
            "state": ["retrain"] * 3,
        }
    )
    planned = group_sessions(table, timeline)
    told = ["site", "step", "part", "families", "family_ids", "caregiver_ids"]
    assert planned[told].values.tolist() == [["north", "mask", 1, 2, "F1;F2", "K1"]]
    assert planned["language"].isna().all()
    apart = pd.Series({"F1": "Finnish", "F2": "Polish"})
    assert group_sessions(table, timeline, apart).empty
    alike = pd.Series({"F1": "Polish", "F2": "Polish"})
    assert group_sessions(table, timeline, alike)["language"].tolist() == ["Polish"]


@pytest.mark.parametrize(("n", "most", "sizes"), [(4, 3, [2, 2]), (7, 3, [3, 2, 2]), (9, 9, [9])])
def test_a_full_session_is_parted_evenly_and_the_surest_come_first(n, most, sizes):
    codes = [f"F{at}" for at in range(n)]
    head = LINES.strip().splitlines()[0]
    rows = [f"L{at} | C{at} | F{at} | north | 2031-03-01 | 2031-03-01" for at in range(n)]
    timeline, _ = read(lines="\n".join([head, *rows]), home_log="line_id | done_at | kind\n")
    table = pd.DataFrame(
        {
            "family_id": pd.array(codes, dtype="string"),
            "caregiver_id": pd.array([None] * n, dtype="string"),
            "step": pd.array(["mask"] * n, dtype="string"),
            "state": ["retrain"] * n,
            "prob_above": np.linspace(0.99, 0.5, n),
        }
    )
    planned = group_sessions(table, timeline, most=most).sort_values("part")
    assert planned["families"].tolist() == sizes
    assert ";".join(planned["family_ids"]) == ";".join(codes)


def test_a_session_for_fewer_than_three_is_not_planned():
    with pytest.raises(ValueError, match="at least 3 families"):
        group_sessions(needs().reset_index(), read()[0], most=2)


def weekly(*families):
    """Family, day and missed of weekly occasions written as strings of x (missed) and dots."""
    family = np.repeat(np.arange(len(families)), [len(f) for f in families])
    days = np.concatenate([np.arange(len(f)) * 7 for f in families])
    return family, days, np.array([c == "x" for f in families for c in f])


def test_before_and_after_a_refresher_are_cut_at_its_day():
    never = np.iinfo(np.int64).max
    spells = before_and_after(*weekly("xx.." + "....", "...." * 2), np.array([21, never]))
    sent = spells.refreshed
    assert [spells.seen_before[sent][0], spells.missed_before[sent][0]] == [4, 2]
    assert [spells.seen_after[sent][0], spells.missed_after[sent][0]] == [4, 0]
    # The other family gives the one moment four weeks after its first change: weeks 0-4, 5-7.
    assert [spells.seen_before[~sent][0], spells.seen_after[~sent][0]] == [5, 3]


def test_a_spell_to_compare_with_ends_before_the_familys_own_refresher():
    spells = before_and_after(*weekly("." * 20), np.array([7 * 10]))
    others = ~spells.refreshed
    # Moments in weeks 4 and 8; the refresher is in week 10.
    assert spells.seen_after[others].tolist() == [5, 1]


def test_a_comparison_family_is_followed_over_its_own_later_refresher():
    # F1 is retrained in week 4, F2 in week 8: F2's moments before it keep all their follow-up.
    moments = moments_of(*weekly("x" * 20, "x" * 20), np.array([28, 56]))
    assert moments.family[moments.sent].tolist() == [0, 1]
    others = moments.family[~moments.sent]
    assert np.bincount(others).tolist() == [4, 8]
    assert moments.seen_after[(moments.family == 1) & ~moments.sent].tolist() == [13] * 7 + [12]
    assert moments.missed_after.tolist() == moments.seen_after.tolist()


def test_families_that_all_stop_missing_after_refreshers_are_found_and_said():
    never = np.iinfo(np.int64).max
    bad, helped = "x.x.x.x.x.x.x" * 3, "x.x.x.x.x.x.x" + "." * 12 + "x" + "." * 13
    case = weekly(*[bad] * 15, *[helped] * 15)
    refreshed_on = np.array([never] * 15 + [7 * 12] * 15)
    control = weekly(*[bad] * 30)
    found = effect_of(case, refreshed_on, trial_of(control, refreshed_on))
    assert found.families == 15
    assert found.adjusted_upper < 1
    assert "less was missed" in found.reading
    # The same families stop being late as well: they were chosen for what the log does not show.
    for other in (trial_of(case, refreshed_on), None):
        found = effect_of(case, refreshed_on, other)
        assert found.adjusted_ratio < 1
        assert np.isnan(found.adjusted_upper)
        assert "can't be estimated" in found.reading


def test_the_step_that_no_refresher_teaches_is_the_negative_control_with_its_own_limits():
    never = np.iinfo(np.int64).max
    bad, helped = "x.x.x.x.x.x.x" * 3, "x.x.x.x.x.x.x" + "." * 12 + "x" + "." * 13
    refreshed_on = np.array([never] * 15 + [7 * 12] * 15)
    random = np.random.default_rng(5)
    mixed = ["".join(random.choice(list("x.."), 39)) for _ in range(30)]
    usual = control_effect(weekly(*mixed), refreshed_on)
    assert usual.adjusted_lower <= 1 <= usual.adjusted_upper
    assert "as it should be" in usual.reading
    chosen = control_effect(weekly(*[bad] * 15, *[helped] * 15), refreshed_on)
    assert chosen.adjusted_upper < 1
    assert "chosen for reasons that the log does not show" in chosen.reading
    few = control_effect(weekly("x.x.x.x.", "x.x.x.x.x.x."), np.array([21, never]))
    assert np.isnan(few.adjusted_lower)
    assert "too few" in few.reading


def test_the_negative_control_is_a_number_of_its_own_and_no_step_that_was_taught():
    row = dict.fromkeys(REFRESHERS.names, 1)
    rows = [
        {**row, "step": "mask", "reading": "so"},
        {**row, "step": "late_change", "adjusted_ratio": 0.97, "adjusted_lower": 0.8,
         "adjusted_upper": 1.2, "reading": "Negative control, a step: as it should be."},
    ]  # fmt: skip
    table = REFRESHERS.build({n: [r[n] for r in rows] for n in REFRESHERS.names})
    assert list(taught(table)["step"]) == ["mask"]
    assert control_sentence(table) == (
        "Negative control, a step: as it should be (changing in time, ratio 0.97, 95 % limits 0.80 "
        "to 1.20)."
    )
    assert control_sentence(taught(table)) == ""


def test_without_refreshers_or_with_few_no_effect_is_claimed():
    never = np.iinfo(np.int64).max
    none = effect_of(weekly("x.x.x.x.x.x."), np.array([never]))
    assert np.isnan(none.own_ratio)
    assert none.families == 0
    few = effect_of(weekly("x.x.x.x.", "x.x.x.x.x.x."), np.array([21, never]))
    assert np.isnan(few.adjusted_lower)
    assert "too few" in few.reading


def test_the_table_of_refreshers_has_a_row_a_step():
    timeline, records = read(
        caregivers="caregiver_id | family_id\nK1 | F1\nK2 | F2",
        sign_offs=SIGNED + "K1 | dressing_change | 2031-03-15 | independent | refresher",
    )
    table = refreshers(practice(timeline, records, POLICY), records).set_index("step")
    mask = table.loc["mask", ["families", "seen_before", "missed_before", "seen_after"]]
    assert mask.tolist() == [1, 2, 2, 1]
    assert table.loc["mask", "missed_after"] == 0


def refreshed_families(after):
    """Twenty families that differ and one, F0, refreshed after a bad quarter."""
    random = np.random.default_rng(4)
    shares = [*random.beta(2, 6, 20)]
    rows = [
        (f"F{n + 1}", week, random.random() < share)
        for n, share in enumerate(shares)
        for week in range(52)
    ]
    rows += [("F0", week, week % 2 == 0) for week in range(14)]
    rows += [("F0", week, after and week % 2 == 0) for week in range(14, 40)]
    start = pd.Timestamp("2030-03-01")
    seen = pd.DataFrame(
        {
            "family_id": pd.array([f for f, *_ in rows], dtype="string"),
            "step": pd.array(["mask"] * len(rows), dtype="string"),
            "done_on": pd.to_datetime([start + pd.Timedelta(weeks=w) for _, w, _ in rows]),
            "missed": [m for *_, m in rows],
        }
    )
    records = written(
        lines=LINES,
        caregivers="caregiver_id | family_id\nK0 | F0",
        sign_offs="caregiver_id | skill | signed_on | outcome | kind\n"
        f"K0 | dressing_change | {start + pd.Timedelta(weeks=13):%Y-%m-%d} | independent | refresher",
    )
    return refreshers_by_family(seen, records)


def test_a_familys_last_refresher_is_set_against_what_its_bad_spell_leads_one_to_expect():
    helped = refreshed_families(after=False).iloc[0]
    assert helped[["family_id", "seen_before", "missed_before"]].tolist() == ["F0", 13, 6]
    assert helped[["seen_after", "missed_after"]].tolist() == [13, 0]
    # Drawn toward the others: fewer than the six of before, more than none.
    assert 2 < helped["expected_after"] < 6
    assert helped["prob_so_few"] < 0.025
    assert helped["reading"].startswith("fewer missed")
    same = refreshed_families(after=True).iloc[0]
    assert same["prob_so_few"] > 0.5
    assert "end by themselves" in same["reading"]


def test_no_refresher_gives_no_row():
    timeline, records = read()
    assert refreshers_by_family(practice(timeline, records, POLICY), records).empty


def test_what_a_line_showed_is_its_present_familys_also_before_it_changed_the_family():
    head, first, *rest = LINES.strip().splitlines()
    lines = "\n".join(
        [
            f"{head} | valid_from | received_at",
            f"{first.replace('F1', 'F9')} | 2031-03-12 | 2031-03-12",
            *(f"{line} | | 2031-01-01" for line in rest),
        ]
    )
    earlier = "line_id | family_id | received_at\nL1 | F1 | 2031-01-01"
    with_families = LOG.strip().splitlines()
    log = [f"{with_families[0]} | family_id"]
    log += [f"{line} | F{line[1]}" for line in with_families[1:]]
    changed = {"lines": lines, "earlier_lines": earlier, "home_log": "\n".join(log)}
    seen = practice(*read(**changed), POLICY)
    assert set(seen["family_id"]) == {"F9", "F2"}
    table = needs(**changed)
    assert table.loc[("F9", "mask"), ["seen", "missed"]].tolist() == [3, 2]
    timeline, records = read(**changed)
    assert set(not_signed_off(timeline, records, POLICY)["family_id"]) <= {"F9", "F2"}
