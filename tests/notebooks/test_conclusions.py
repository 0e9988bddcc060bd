"""What notebooks conclude is what was planted, what the command line says and what the store holds."""

import io
import re
import sys
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.cli.app import main
from analysis.policy import shipped_policy
from analysis.snapshot import end_of_day
from analysis.stats.intervals import exact_count_interval, midp_count_interval
from analysis.store import Store
from tests.notebooks.conftest import AS_OF, NOTEBOOKS, ROOT

THIN = "\N{NARROW NO-BREAK SPACE}"


@pytest.fixture
def command(invented, monkeypatch, capsys):
    """The table that a command of the command line prints of the same store and day."""

    def told(*words):
        place = ("--store", invented.url, "--as-of", AS_OF.isoformat(), "--format", "csv")
        monkeypatch.setattr(sys, "argv", ["linedays", *words, *place])
        with pytest.raises(SystemExit):
            main()
        return pd.read_csv(io.StringIO(capsys.readouterr().out))

    return told


def counts_in(text):
    """Whole numbers of a text, in order."""
    return [int(n) for n in re.findall(r"\d+", text.replace(THIN, ""))]


def test_adherence_is_that_of_the_command_line(answer, command):
    row = command("adherence").iloc[0]
    first, second = answer("adherence").splitlines()[:2]
    on_time, of = counts_in(first.split(", ", 1)[1])[:2]
    assert (on_time, of) == (row["intervals_on_time"], row["intervals_scored"])
    assert counts_in(second)[:2] == [row["in_date_days"], row["out_of_date_days"]]
    assert f": {100 * row['on_time_share']:.0f} % (" in first
    assert f"in date {100 * row['in_date_share']:.0f} % (" in second


def test_the_families_planted_to_change_late_are_named(answer, invented, command):
    named = set(re.findall(r"F-\d+", answer("adherence")))
    # Named for their last 8 intervals, about half of which are late: one in seven is missed by chance.
    planted = set(invented.truth.late_habit)
    assert len(planted) >= 3
    assert len(planted & named) >= len(planted) - 1
    listed = command("calls")
    late = listed["reasons"].fillna("").str.split(";").map(lambda r: "late_pattern" in r)
    assert named == set(listed.loc[late, "family_id"])


def test_rates_are_those_of_the_command_line(answer, command):
    told = answer("rates_and_charts").replace(THIN, "")
    for event in ("skin", "bloodstream_infection"):
        row = command("rates", "--event", event).iloc[0]
        limits = f"{row['rate_per_1000']:.2f} per 1000 home line-days (95 % limits {row['lower']:.2f} to {row['upper']:.2f})"
        assert f"{limits}, {row['events']} events in {row['line_days']} home line-days" in told


def test_the_site_whose_skin_rate_was_planted_to_rise_is_named_and_no_other(answer, invented):
    skin, blood = answer("rates_and_charts").split("Bloodstream infection")
    stepped = re.findall(
        r"At (\w+) the rate stepped up, most likely from \w+ \d+ \((.+?) to (.+?)\)", skin
    )
    [(site, first, last)] = stepped
    assert site == invented.truth.skin_site
    planted = pd.Period(invented.truth.skin_from, "M")
    assert pd.Period(first, "M") <= planted <= pd.Period(last, "M")
    assert "At no site is there evidence of a step" in blood


def test_dwell_time_is_that_of_the_command_line(answer, command):
    last = command("dwell").iloc[-1]
    first, second = answer("dwell_time").splitlines()[:2]
    year = command("dwell").query("day <= 365").iloc[-1]
    assert f"{100 * year['unplanned_share']:.0f} % (95 % limits" in first
    assert f"{100 * year['in_place']:.0f} % were still in place" in first
    limits = [f"{100 * year[f'unplanned_{part}']:.0f} %" for part in ("lower", "upper")]
    assert f"(95 % limits {limits[0]} to {limits[1]})" in second
    assert last["day"] >= year["day"]


@pytest.mark.parametrize("by", ["site", "line_type", "therapy"])
def test_the_tests_between_groups_of_lines_are_those_of_the_command_line(answer, command, by):
    told = [line for line in answer("dwell_time").splitlines() if "log-rank" in line]
    for of, event in (("Any removal", "any"), ("Unplanned removal", "unplanned")):
        row = command("dwell", "compare", "--by", by, "--event", event).iloc[0]
        [line] = [t for t in told if t.startswith(f"{of}, by {by.replace('_', ' ')}:")]
        assert f"with {row['df']:.0f} degrees" in line
        assert ("by more than chance" in line) == (row["p"] < 0.05)


def test_the_caregiver_planted_to_leave_out_a_step_is_named_with_it(answer, invented):
    text = answer("retraining_effect")
    assert invented.truth.weak_step
    for one in invented.truth.weak_step:
        caregiver, step = one.detail.split(":")
        label = shipped_policy().on(AS_OF).steps[step].label
        # Above the limit by what was missed lately, or retrained for it not long ago.
        assert re.search(
            rf"{caregiver} of family {one.family_id}, {label} \((missed )?\d+ of", text
        )


def test_nobody_is_named_for_a_step_of_the_policy_but_who_was_planted(answer, invented):
    labels = [step.label for step in shipped_policy().on(AS_OF).steps.values()]
    lines = answer("retraining_effect").splitlines()
    [retrained] = [line for line in lines if line.startswith("Retrained, and no longer above")]
    named = [n for line in (lines[1], retrained.split(": ", 1)[1]) for n in line.split("; ")]
    of_steps = {n.split(" of ")[0] for n in named if any(f", {label} (" in n for label in labels)}
    assert of_steps == {one.detail.split(":")[0] for one in invented.truth.weak_step}


def test_the_families_planted_to_lift_early_or_change_late_are_most_of_those_named(
    answer, invented
):
    lines = answer("retraining_effect").splitlines()
    [retrained] = [line for line in lines if line.startswith("Retrained, and no longer above")]
    truth = invented.truth
    early = {*truth.lift_early, *(one.family_id for one in truth.refresher_helped)}
    for step, planted in (("dressing fails early", early), ("change late", {*truth.late_habit})):
        sure, lately = (
            set(re.findall(rf"family (F-\d+), {step}", t)) for t in (lines[1], retrained)
        )
        assert (sure | lately) & planted, step
        assert len(sure & planted) >= 0.6 * len(sure), step


def test_caregivers_without_a_sign_off_are_those_of_the_command_line(answer, invented, command):
    told = answer("retraining_effect").splitlines()[2]
    for one in invented.truth.never_signed_off:
        assert one.detail in told.split("without any: ")[1]
    listed = command("retraining", "sign-offs")
    assert counts_in(told)[0] == len(listed)


def test_the_family_planted_to_be_helped_by_its_refresher_is_named_and_no_effect_is_claimed(
    answer, invented
):
    lines = answer("retraining_effect").splitlines()
    [helped] = [line for line in lines if line.startswith("Families that missed less")]
    named = set(re.findall(r"(F-\d+), dressing fails early", helped))
    assert named & {one.family_id for one in invented.truth.refresher_helped}
    # Refreshers were planted to help two families; those of all others do nothing.
    assert not any("less was missed than" in line for line in lines)
    assert "associat" in lines[-1]


def test_what_came_in_is_what_the_store_holds(answer, invented):
    told = answer("late_reports_and_data_quality").replace(THIN, "")
    with Store.open(invented.url, create=False) as store:
        files, refused, doubts = store.ingests(), store.refused(), store.doubts()
        log = store.records(end_of_day(AS_OF, shipped_policy())).home_log
        past = AS_OF - timedelta(days=28)
        before = store.records(end_of_day(past, shipped_policy())).home_log
    counts = [files[c].sum() for c in ("read", "stored", "refused")]
    read, stored, turned_away = counts_in(told.split(" files, ", 1)[1])[:3]
    assert [read, stored, turned_away] == counts
    assert turned_away == len(refused) == invented.refused
    assert f"{len(refused)} rows to correct" in told
    kinds = refused.groupby("reason").size()
    most = re.search(r"Refused most often: (.*)", told).group(1)
    assert max(int(n) for n in re.findall(r"(\d+)\)", most)) <= kinds.max()
    odd = re.search(r"Odd but usable: (.*)", told).group(1)
    assert sorted(map(int, re.findall(r"\((\d+)\)", odd))) == sorted(doubts["doubt"].value_counts())
    assert sum(map(int, re.findall(r"\((\d+)\)", odd))) >= len(invented.truth.odd)
    now, then = map(int, re.search(r"Of (\d+) entries .*, (\d+) were known", told).groups())
    assert now == (log["done_on"] <= pd.Timestamp(past)).sum()
    assert then == len(before) < now  # nothing is received before its day


def test_late_entries_are_counted_by_hand(answer, invented):
    told = answer("late_reports_and_data_quality").replace(THIN, "")
    with Store.open(invented.url, create=False) as store:
        log = store.records(end_of_day(AS_OF, shipped_policy())).home_log
    came = log["received_at"].dt.normalize()  # the invented programme keeps UTC
    recent = log[came > pd.Timestamp(AS_OF) - pd.Timedelta(days=182)]
    late = (came - log["done_on"]).loc[recent.index] > pd.Timedelta(days=7)
    assert f"{late.sum()} of {len(recent)} entries" in told


def test_families_not_heard_from_are_those_of_the_call_list(answer, command):
    told = answer("late_reports_and_data_quality").replace(THIN, "")
    reasons = command("calls")["reasons"].fillna("").str.split(";")
    silent = int(reasons.map(lambda r: "silent" in r).sum())
    assert silent >= 3
    assert f"{silent} had not been heard from" in told


def test_every_published_value_agrees_and_is_one_that_the_tests_hold(answer):
    told = answer("published_values")
    agreed, of, *by_kind = counts_in(told.split(", from ")[0])
    assert agreed == of >= 80
    assert by_kind[::2] == by_kind[1::2]
    assert sum(by_kind[::2]) == of
    assert "Values that differ: none." in told
    tests = "".join(p.read_text("utf-8") for p in (ROOT / "tests" / "reference").glob("*.py"))
    held = {number.strip("-0") for number in re.findall(r"-?\d*\.?\d+", tests)}
    source = NOTEBOOKS["published_values"].read_text("utf-8")
    values = re.findall(r'"(-?\d*\.\d+)"', source)
    assert len(values) >= 75
    assert {v for v in values if not any(h.startswith(v.strip("-0")) for h in held)} == set()


SHARE = r"([\d.]+) % \(Monte Carlo limits ([\d.]+) to ([\d.]+) %, n = (\d+), "


def test_simulated_limits_and_alarms_are_within_what_the_formulas_claim(answer):
    told = answer("coverage_by_simulation").replace(THIN, "")
    assert told.count("as claimed") == 4
    assert "NOT" not in told
    exact, midp, alike, plain, alarms, far_95, far_998 = re.findall(SHARE, told)
    assert float(exact[2]) >= 95 > float(midp[1]) > 92
    assert float(alike[2]) >= 90 > float(plain[2])
    assert float(alarms[1]) <= 18
    assert float(far_95[1]) <= 5
    assert float(far_998[1]) <= 0.2
    for share, low, high, _ in (exact, midp, alike, plain, alarms, far_95, far_998):
        assert float(low) <= float(share) <= float(high)


def test_simulated_coverage_is_that_summed_over_all_counts(ran):
    # Analytic: the Poisson distribution says how often each count occurs.
    shown = ran("coverage_by_simulation").cells
    [text] = [
        o["data"]["text/plain"]
        for cell in shown
        for o in cell.get("outputs", [])
        if "mid-P" in o.get("data", {}).get("text/plain", "")
    ]
    rows = re.findall(r"([\d.]+) expected +(\d+) +(\d+)", text)
    assert len(rows) == 14
    counts = np.arange(300)
    for interval, part in ((exact_count_interval, rows[:7]), (midp_count_interval, rows[7:])):
        limits = interval(counts)
        for mean, hits, draws in part:
            holds = (limits.lower <= float(mean)) & (float(mean) <= limits.upper)
            true = stats.poisson.pmf(counts, float(mean))[holds].sum()
            assert abs(int(hits) / int(draws) - true) < 4 * np.sqrt(true * (1 - true) / int(draws))


def test_probabilities_of_families_are_about_right_and_said_to_be_sure_when_they_are(answer):
    told = answer("coverage_by_simulation").replace(THIN, "")
    found = re.findall(
        r"of (\d+) families called .*? add up to ([\d.]+) and (\d+) truly were above \(Monte Carlo limits "
        r"(\d+) to (\d+)\): (.*)\.",
        told,
    )
    assert len(found) == 2
    for called, said, true, low, high, verdict in found:
        assert int(called) > 100
        # A family called with 80 % or more is above the limit about as often as that.
        assert int(true) >= 0.78 * int(called)
        within = int(low) <= float(said) <= int(high)
        assert ("right within" in verdict) == within
