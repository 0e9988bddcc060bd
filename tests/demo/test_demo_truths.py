"""The tool finds what was planted in the demo."""

from dataclasses import replace

import pandas as pd

from analysis.measures.comparison import compare
from analysis.measures.counts import counts
from analysis.vocabulary import Basis, Grouping, Limits
from tests.demo.conftest import AS_OF


def reasons_by_family(whole_demo):
    reasons = whole_demo.snapshot().calls.reasons
    return reasons.groupby("family_id")["reason"].agg(set).to_dict()


def families(planted):
    return {one.family_id for one in planted}


def share_with(reasons, reason, wanted):
    return sum(reason in reasons.get(f, set()) for f in wanted) / len(wanted)


def test_the_news_of_the_last_days_is_on_the_call_list(whole_demo):
    reasons = reasons_by_family(whole_demo)
    truth = whole_demo.demo.truth
    for planted, reason in (
        (truth.red_flag, "red_flag"),
        (truth.compromised, "compromised"),
        (truth.overdue, "overdue"),
        (truth.silent, "silent"),
        (truth.skin_open, "skin_event_open"),
        (truth.state_unknown, "state_unknown"),
        (truth.kits_short, "kits_short"),
        (truth.never_signed_off, "no_sign_off"),
    ):
        assert planted, reason
        assert share_with(reasons, reason, families(planted)) == 1, reason


def test_days_overdue_and_silent_are_those_planted(whole_demo):
    listed = whole_demo.snapshot().calls.families.set_index("family_id")
    truth = whole_demo.demo.truth
    assert truth.overdue
    assert truth.silent
    for one in truth.overdue:
        assert listed.loc[one.family_id, "days_overdue"] >= one.days
    for one in truth.silent:
        assert listed.loc[one.family_id, "silent_days"] == one.days


def test_families_whose_dressings_lift_early_stand_out(whole_demo):
    truth = whole_demo.demo.truth
    reasons = reasons_by_family(whole_demo)
    snapshot = whole_demo.snapshot()
    at_home = set(snapshot.timeline.lines.query("at_home")["family_id"])
    lifting = set(truth.lift_early) & at_home
    others = at_home - set(truth.lift_early) - families(truth.refresher_helped)
    assert share_with(reasons, "early_failures", lifting) >= 0.6
    assert share_with(reasons, "early_failures", others) <= 0.15


def test_families_with_a_late_habit_stand_out(whole_demo):
    truth = whole_demo.demo.truth
    reasons = reasons_by_family(whole_demo)
    at_home = set(whole_demo.snapshot().timeline.lines.query("at_home")["family_id"])
    late = set(truth.late_habit) & at_home
    assert share_with(reasons, "late_pattern", late) >= 0.6
    assert share_with(reasons, "late_pattern", at_home - late) <= 0.2


def test_the_team_whose_skin_rate_tripled_is_told_from_the_others(whole_demo):
    truth = whole_demo.demo.truth
    tallies = whole_demo.snapshot().tallies
    of_site = tallies.lines["site"] == truth.skin_site
    here = of_site.to_numpy()[tallies.days["line"]]
    ours = replace(
        tallies,
        days=tallies.days[here],
        events=tallies.events[of_site.to_numpy()[tallies.events["line"]]],
        onsets=tallies.onsets[of_site.to_numpy()[tallies.onsets["line"]]],
    )
    months = counts(ours, "skin", Grouping.MONTH, Basis.LINE)["group"]
    since = f"{truth.skin_from:%Y-%m}"
    before = pd.Period(since, "M") - 1
    found = compare(
        ours, "skin", Grouping.MONTH, Basis.LINE, Limits.EXACT,
        f"{since}..{AS_OF:%Y-%m}", f"{months.min()}..{before}",
    ).iloc[0]  # fmt: skip
    assert found["lower"] > 1
    assert 1.5 < found["ratio"] < 5


def test_the_kit_shortage_shows_at_its_site(whole_demo):
    truth = whole_demo.demo.truth
    log = whole_demo.store.records(None).home_log
    site = whole_demo.snapshot().timeline.lines.drop_duplicates("family_id").set_index("family_id")
    told = log[log["kits_left"].notna()]
    told = told.assign(site=told["family_id"].map(site["site"]))
    short = (told["done_on"] >= pd.Timestamp(truth.shortage_from)) & (
        told["done_on"] < pd.Timestamp(truth.shortage_to)
    )
    here = told["site"] == truth.shortage_site
    low = told["kits_left"].astype("int64") < 2
    during = low[(here & short).to_numpy(bool)].mean()
    elsewhere = low[(~here & short).to_numpy(bool)].mean()
    assert during > 2 * elsewhere
