"""Is the invented programme reproducible, believable, and is what was planted really in it?

What is read here is read from the raw frames with plain pandas, not with the tool.
"""

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import pytest

from analysis.policy import shipped_policy
from analysis.tables import INCOMING
from analysis.vocabulary import DressingType, FindingMark, Task
from synthetic_data import Demo, demo, generate, generate_blocks

AS_OF = date(2031, 3, 12)
TODAY = pd.Timestamp(AS_OF)
EDITION = shipped_policy().on(AS_OF)
FOUND_BAD = ["loose", "damp", "soiled"]
SKIN = "|".join(sorted(EDITION.codes_marked(FindingMark.SKIN_EVENT)))
NEWS = ("red_flag", "compromised", "overdue", "called", "silent", "skin_open")


@pytest.fixture(scope="module", params=[1, 2])
def made(request) -> Demo:
    return generate(until=AS_OF, seed=request.param)


def newest(made: Demo, table: str) -> pd.DataFrame:
    """The last version of each row, withdrawn ones left out."""
    frame = made.frames[table]
    keys = list(INCOMING[table].key)
    keyed = frame[keys].notna().all(axis=1)
    kept = pd.concat([frame[~keyed], frame[keyed].drop_duplicates(keys, keep="last")])
    return kept[~kept["void"]]


def log_of(made: Demo) -> pd.DataFrame:
    """The log in force, with line, family, site and day on every row."""
    lines = newest(made, "lines")
    log = newest(made, "home_log")
    only = lines.drop_duplicates("family_id").set_index("family_id")["line_id"]
    log["line_id"] = log["line_id"].fillna(log["family_id"].map(only))
    about = lines.set_index("line_id")[["family_id", "site", "line_type", "change_every_days"]]
    about["usual"] = lines.set_index("line_id")["dressing_type"]
    log = log.drop(columns="family_id").merge(about, left_on="line_id", right_index=True)
    log["day"] = log["done_at"].dt.floor("D")
    return log.sort_values(["line_id", "done_at"], kind="stable")


def changes_of(made: Demo) -> pd.DataFrame:
    """Dressing changes of lines under a plain weekly dressing, with the days since the last."""
    log = log_of(made)
    weekly = log["usual"].isin(["transparent", "transparent_chg"])
    weekly &= log["change_every_days"].isna() & (log["line_type"] != "implanted_port")
    changes = log[weekly & (log["kind"] == "dressing_change")].drop_duplicates(["line_id", "day"])
    gap = changes.groupby("line_id")["day"].diff().dt.days
    bad = changes["change_reason"].isin(FOUND_BAD) | changes["dressing_condition"].isin(FOUND_BAD)
    return changes.assign(gap=gap, bad=bad)


def test_the_same_seed_gives_the_same_programme_and_another_seed_another() -> None:
    first, again, other = (generate(12, until=AS_OF, seed=seed) for seed in (3, 3, 4))
    for table, frame in first.frames.items():
        pd.testing.assert_frame_equal(frame, again.frames[table])
    assert first.truth == again.truth
    assert first.calls == again.calls
    assert not first.frames["home_log"].equals(other.frames["home_log"])


def test_every_table_has_its_catalogued_columns_and_the_moment_of_receipt(made) -> None:
    assert {*INCOMING} - {*made.frames} == {"calls"}  # recorded on the page, not sent in files
    for table, frame in made.frames.items():
        entry = INCOMING[table]
        assert list(frame.columns) == [*entry.names, "received_at", "void"]
        for column in entry.columns:
            assert str(frame[column.name].dtype) == column.dtype
            if column.required:
                assert not frame.loc[~frame["void"], column.name].isna().any()
            if column.low is not None:
                assert frame[column.name].dropna().between(column.low, column.high).all()
        assert frame["received_at"].is_monotonic_increasing


def test_nothing_is_dated_or_received_on_the_as_of_day_or_later(made) -> None:
    assert made.frames
    for frame in made.frames.values():
        for name in frame.columns[[str(d).startswith("datetime64") for d in frame.dtypes]]:
            assert not (frame[name] >= TODAY).any(), name


def test_no_row_is_received_before_its_dates(made) -> None:
    assert made.frames
    for table, frame in made.frames.items():
        dated = [c.name for c in INCOMING[table].columns if c.kind in {"date", "instant"}]
        for name in dated:
            early = frame["received_at"] < frame[name]
            assert not early.any(), (table, name)


def test_every_word_of_every_list_occurs(made) -> None:
    assert any(column.allowed for column in INCOMING["home_log"].columns)
    for table in made.frames:
        for column in INCOMING[table].columns:
            if column.allowed:
                words = set(made.frames[table][column.name].dropna())
                assert words == set(column.allowed), (table, column.name)


def test_every_finding_and_every_step_of_the_policy_occurs(made) -> None:
    log = made.frames["home_log"]
    for column, codes in (("findings", EDITION.findings), ("steps_missed", EDITION.steps)):
        seen = set(log[column].dropna().str.split(";").explode())
        assert seen == {*codes, "none"}, column
        assert log[column].isna().any()


def test_rows_refer_to_lines_children_families_and_caregivers_that_exist(made) -> None:
    frames = made.frames
    lines = frames["lines"]
    log = frames["home_log"]
    assert log["line_id"].dropna().isin(lines["line_id"]).all()
    assert log["family_id"].dropna().isin(lines["family_id"]).all()
    assert log["caregiver_id"].dropna().isin(frames["caregivers"]["caregiver_id"]).all()
    assert frames["stays"]["child_id"].isin(lines["child_id"]).all()
    assert frames["outcomes"]["line_id"].isin(lines["line_id"]).all()
    assert frames["sign_offs"]["caregiver_id"].isin(frames["caregivers"]["caregiver_id"]).all()
    told = log[~log["void"]]
    assert (told["line_id"].notna() | told["family_id"].notna()).all()


def test_an_entry_with_the_family_alone_belongs_to_a_family_with_one_line(made) -> None:
    log = made.frames["home_log"]
    alone = log[log["line_id"].isna() & ~log["void"]]
    assert len(alone) > 100
    count = made.frames["lines"].groupby("family_id")["line_id"].nunique()
    assert (alone["family_id"].map(count) == 1).all()


def test_a_line_is_in_place_in_its_first_version_and_ended_in_its_last(made) -> None:
    lines = made.frames["lines"]
    first = lines.drop_duplicates("line_id", keep="first")
    assert first[["removed_on", "removal_reason", "left_on"]].isna().all().all()
    last = lines.drop_duplicates("line_id", keep="last")
    both = last["removed_on"].notna() == last["removal_reason"].notna()
    assert both.all()
    ended = last["removed_on"].fillna(last["left_on"])
    assert ended.notna().sum() == len(lines) - len(first)
    assert (last["placed_on"] <= last["home_from"]).all()
    assert (ended.dropna() >= last.loc[ended.notna(), "home_from"]).all()


def test_stays_touch_and_overlap_and_some_are_still_going_on(made) -> None:
    stays = newest(made, "stays").sort_values(["child_id", "from_on"])
    same = stays["child_id"] == stays["child_id"].shift()
    assert (same & (stays["from_on"] == stays["to_on"].shift())).any()
    assert (same & (stays["from_on"] < stays["to_on"].shift())).any()
    assert stays["to_on"].isna().any()
    assert (stays["to_on"].isna() | (stays["to_on"] > stays["from_on"])).all()
    assert (stays["dressing_on"].isna() | (stays["dressing_on"] >= stays["from_on"])).all()


def test_some_entries_are_corrected_and_some_withdrawn(made) -> None:
    log = made.frames["home_log"]
    twice = log[log["entry_id"].notna() & log.duplicated("entry_id", keep=False)]
    corrected = twice[~twice["entry_id"].isin(log.loc[log["void"], "entry_id"])]
    assert 0.002 < corrected["entry_id"].nunique() / len(log) < 0.02
    assert not corrected.drop(columns="received_at").duplicated().any()
    assert log["void"].any()
    assert log.loc[log["void"], "entry_id"].isin(log.loc[~log["void"], "entry_id"]).all()
    assert made.frames["outcomes"]["void"].any()


def test_entries_without_a_number_differ_from_each_other(made) -> None:
    log = made.frames["home_log"]
    unnumbered = log[log["entry_id"].isna()]
    assert len(unnumbered) > 50
    assert not unnumbered.drop(columns="received_at").duplicated().any()


def test_about_two_in_three_families_have_a_line_at_home_in_the_end(made) -> None:
    lines = newest(made, "lines")
    here = lines[lines["removed_on"].isna() & lines["left_on"].isna()]
    assert 150 < here["family_id"].nunique() < 200
    assert 165 < len(here) < 225
    assert here.groupby("family_id")["line_id"].nunique().max() >= 2
    assert set(here["site"]) == {"Fern", "Pebble", "Willow"}
    assert here["nurse"].nunique() == 12


def test_weekly_dressings_are_changed_about_weekly_and_gauze_every_two_days(made) -> None:
    gaps = changes_of(made)["gap"].dropna()
    assert gaps.median() == EDITION.interval_days(Task.DRESSING, DressingType.TRANSPARENT, None)
    assert (gaps == 7).mean() > 0.5
    assert 0.03 < (gaps > 7).mean() < 0.15
    log = log_of(made)
    gauze = log[(log["usual"] == "gauze") & (log["kind"] == "dressing_change")]
    gauze = gauze.drop_duplicates(["line_id", "day"])
    assert gauze.groupby("line_id")["day"].diff().dt.days.median() == 2


def test_about_one_dressing_in_ten_comes_off_early_and_the_skin_suffers_rarely(made) -> None:
    changes = changes_of(made)
    assert 0.05 < changes["bad"].mean() < 0.15
    lines = newest(made, "lines")
    end = lines["removed_on"].fillna(lines["left_on"]).fillna(TODAY)
    line_days = (end - lines["home_from"]).dt.days.sum()
    log = log_of(made)
    seen = log[log["findings"].str.contains(SKIN, na=False)].drop_duplicates(["line_id", "day"])
    started = ~(seen.groupby("line_id")["day"].diff().dt.days <= 7)
    assert 0.8 < 1000 * started.sum() / line_days < 2.5


def test_forms_arrive_within_the_hour_and_paper_after_days(made) -> None:
    log = made.frames["home_log"]
    timed = log["done_at"].dt.normalize() != log["done_at"]
    wait = (log["received_at"] - log["done_at"])[~log["void"] & timed]
    assert wait.median() < pd.Timedelta(hours=1)
    days = (log["received_at"].dt.normalize() - log["done_at"].dt.normalize()).dt.days
    assert 0.02 < (days[~log["void"]] >= 1).mean() < 0.2
    assert timed.any()
    assert (~timed & ~log["void"]).any()


def test_families_whose_dressings_lift_early_stand_out(made) -> None:
    changes = changes_of(made)
    early = changes["bad"] & (changes["gap"] < 6)
    share = early.groupby(changes["family_id"]).mean()
    planted = list(made.truth.lift_early)
    assert len(planted) == 5
    assert share[planted].min() > 0.25
    assert share.drop(planted).median() < 0.06


def test_families_with_a_late_habit_stand_out(made) -> None:
    changes = changes_of(made).dropna(subset="gap")
    late = (changes["gap"] > 7).groupby(changes["family_id"]).mean()
    planted = list(made.truth.late_habit)
    assert len(planted) == 3
    assert late[planted].min() > 0.35
    assert late.drop(planted).median() < 0.15


def test_the_refresher_ended_the_early_lifting_of_some_families(made) -> None:
    changes = changes_of(made)
    signed = made.frames["sign_offs"]
    assert made.truth.refresher_helped
    for one in made.truth.refresher_helped:
        own = changes[changes["family_id"] == one.family_id]
        before = own["day"] < pd.Timestamp(one.on)
        assert own.loc[before, "bad"].mean() > 3 * own.loc[~before, "bad"].mean()
        refreshed = signed[
            (signed["caregiver_id"] == one.detail) & (signed["signed_on"] == pd.Timestamp(one.on))
        ]
        assert refreshed["kind"].tolist() == ["refresher"]


def test_the_weak_step_and_the_missing_sign_off_are_there(made) -> None:
    log = log_of(made)
    (weak,) = made.truth.weak_step
    person, step = weak.detail.split(":")
    own = log[(log["caregiver_id"] == person) & log["steps_missed"].notna()]
    own = own[own["kind"] == "dressing_change"]
    assert own["steps_missed"].str.contains(step).mean() > 0.2
    (unsigned,) = made.truth.never_signed_off
    assert unsigned.detail not in set(made.frames["sign_offs"]["caregiver_id"])
    done = log[(log["caregiver_id"] == unsigned.detail) & (log["kind"] == "dressing_change")]
    assert done["day"].max() == pd.Timestamp(unsigned.on)
    assert (TODAY - done["day"].max()).days <= 30


def test_some_sign_offs_have_expired_while_the_caregiver_goes_on(made) -> None:
    signed = made.frames["sign_offs"]
    alone = signed[(signed["skill"] == "dressing_change") & (signed["outcome"] == "independent")]
    last = alone.groupby("caregiver_id")["signed_on"].max()
    log = log_of(made)
    recent = log[(log["kind"] == "dressing_change") & (log["day"] >= TODAY - pd.Timedelta(days=30))]
    since = (TODAY - recent["caregiver_id"].drop_duplicates().map(last).dropna()).dt.days
    assert 1 <= (since > 366).sum() < 0.15 * len(since)
    assert set(signed["kind"]) == {"first", "refresher"}


def test_the_skin_rate_of_one_team_doubles_from_a_month_on(made) -> None:
    truth = made.truth
    assert truth.skin_from.day == 1
    log = log_of(made)
    seen = log[log["findings"].str.contains(SKIN, na=False)].drop_duplicates(["line_id", "day"])
    starts = seen[~(seen.groupby("line_id")["day"].diff().dt.days <= 7)]
    lines = newest(made, "lines")
    end = lines["removed_on"].fillna(lines["left_on"]).fillna(TODAY)
    change = pd.Timestamp(truth.skin_from)
    after_days = (end - lines["home_from"].clip(lower=change)).dt.days.clip(lower=0)
    before_days = (end.clip(upper=change) - lines["home_from"]).dt.days.clip(lower=0)
    own = lines["site"] == truth.skin_site
    mine = starts[starts["site"] == truth.skin_site]
    after = (mine["day"] >= change).sum() / after_days[own].sum()
    before = (mine["day"] < change).sum() / before_days[own].sum()
    assert after > 1.3 * before
    others = starts[starts["site"] != truth.skin_site]
    elsewhere = (others["day"] >= change).sum() / after_days[~own].sum()
    assert after > 1.4 * elsewhere


def test_kits_ran_low_at_one_team_while_deliveries_were_short(made) -> None:
    truth = made.truth
    log = log_of(made)
    log = log[(log["kind"] == "supply_count") & log["usual"].str.startswith("transparent")]
    during = (log["day"] >= pd.Timestamp(truth.shortage_from)) & (
        log["day"] < pd.Timestamp(truth.shortage_to)
    )
    here = log["site"] == truth.shortage_site
    assert log.loc[during & here, "kits_left"].median() <= 2
    assert log.loc[during & ~here, "kits_left"].median() >= 4
    for one in truth.kits_short:
        latest = log[log["line_id"] == one.line_id].iloc[-1]
        assert (latest["kits_left"], latest["day"]) == (1, pd.Timestamp(one.on))


def test_the_red_flags_and_the_open_skin_finding_are_in_the_log(made) -> None:
    log = log_of(made)
    assert made.truth.red_flag
    assert made.truth.skin_open
    for one in (*made.truth.red_flag, *made.truth.skin_open):
        own = log[(log["line_id"] == one.line_id) & (log["day"] == pd.Timestamp(one.on))]
        assert one.detail in set(own["findings"].dropna())
    for one in made.truth.skin_open:
        own = log[(log["line_id"] == one.line_id) & (log["day"] > pd.Timestamp(one.on))]
        assert not (own["findings"] == "none").any()


def test_the_compromised_dressing_was_not_changed_since(made) -> None:
    log = log_of(made)
    assert made.truth.compromised
    for one in made.truth.compromised:
        own = log[log["line_id"] == one.line_id]
        told = own[own["day"] == pd.Timestamp(one.on)]
        assert one.detail in set(told["dressing_condition"].dropna())
        changed = own.loc[own["kind"] == "dressing_change", "day"].max()
        assert pd.Timestamp(one.on) - pd.Timedelta(days=7) < changed < pd.Timestamp(one.on)


def test_the_overdue_families_write_on_and_the_silent_ones_do_not(made) -> None:
    log = log_of(made)
    truth = made.truth
    for one in (*truth.overdue, *truth.called):
        own = log[log["line_id"] == one.line_id]
        last = own.loc[own["kind"] == "dressing_change", "day"].max()
        assert last == pd.Timestamp(one.on)
        assert (TODAY - last).days - 7 == one.days > 0
        assert (TODAY - own["day"].max()).days == 1
    for one in truth.silent:
        heard = log.loc[log["family_id"] == one.family_id, "day"].max()
        assert heard == pd.Timestamp(one.on)
        assert (TODAY - heard).days == one.days > 8
    assert [c.family_id for c in made.calls] == [one.family_id for one in truth.called]


def test_a_child_came_home_without_a_word_on_the_dressing(made) -> None:
    log = log_of(made)
    stays = newest(made, "stays")
    lines = newest(made, "lines").set_index("line_id")
    (one,) = made.truth.state_unknown
    child = lines.loc[one.line_id, "child_id"]
    last = stays[stays["child_id"] == child].sort_values("from_on").iloc[-1]
    assert last["to_on"] == pd.Timestamp(one.on)
    assert pd.isna(last["dressing_on"])
    own = log[(log["line_id"] == one.line_id) & (log["kind"] == "dressing_change")]
    assert own["day"].max() < last["from_on"]


def test_the_odd_entries_are_odd_in_the_way_they_say(made) -> None:
    log = log_of(made)
    lines = newest(made, "lines").set_index("line_id")
    stays = newest(made, "stays")
    family_of = made.frames["caregivers"].set_index("caregiver_id")["family_id"]
    odd = pd.DataFrame([dataclasses.asdict(one) for one in made.truth.odd])
    assert odd["detail"].value_counts().min() >= 1
    assert odd["detail"].nunique() == 4
    for one in made.truth.odd:
        own = log[(log["line_id"] == one.line_id) & (log["day"] == pd.Timestamp(one.on))]
        assert len(own) > 0
        line = lines.loc[one.line_id]
        if one.detail == "change_during_stay":
            away = stays[stays["child_id"] == line["child_id"]]
            inside = (away["from_on"] <= pd.Timestamp(one.on)) & (
                pd.Timestamp(one.on) < away["to_on"]
            )
            assert inside.any()
            assert (own["kind"] == "dressing_change").any()
        elif one.detail == "after_end":
            ended = line["left_on"] if pd.isna(line["removed_on"]) else line["removed_on"]
            assert pd.Timestamp(one.on) > ended
        elif one.detail == "connector_too_soon":
            days = log.loc[
                (log["line_id"] == one.line_id) & (log["kind"] == "connector_change"), "day"
            ]
            since = (pd.Timestamp(one.on) - days[days < pd.Timestamp(one.on)].max()).days
            assert since < 4
        else:
            strangers = own["caregiver_id"].dropna().map(family_of) != one.family_id
            assert strangers.any()


def test_news_is_planted_in_families_of_their_own(made) -> None:
    groups = [getattr(made.truth, name) for name in (*NEWS, "state_unknown", "kits_short")]
    families = [one.family_id for group in groups for one in group]
    assert len(families) == len(set(families)) >= 16
    assert made.truth.families_with_news == set(families)
    assert made.truth.families_with_news < made.truth.families


def test_without_truths_nothing_is_planted() -> None:
    plain = generate(30, until=AS_OF, truths=False)
    assert plain.truth is None
    assert plain.calls == ()
    assert len(plain.frames["home_log"]) > 1000


@pytest.mark.parametrize("families", [1, 3, 12, 25])
def test_a_small_programme_has_what_fits_into_it(families) -> None:
    small = generate(families, until=AS_OF, seed=5, years=1)
    assert small.frames["lines"]["family_id"].nunique() <= families
    assert small.truth is not None
    assert len(small.frames["home_log"]) > 0 or families == 1


def test_blocks_hold_whole_families_and_add_up(monkeypatch) -> None:
    monkeypatch.setattr(demo, "BLOCK", 10)
    blocks = list(generate_blocks(25, until=AS_OF, seed=2))
    whole = generate(25, until=AS_OF, seed=2)
    assert len(blocks) == 3
    for table in whole.frames:
        assert len(whole.frames[table]) == sum(len(b.frames[table]) for b in blocks)
    families = [set(b.frames["lines"]["family_id"]) for b in blocks]
    assert len(set.union(*families)) == sum(len(f) for f in families)
    assert [b.truth is None for b in blocks] == [False, True, True]
    assert whole.frames["home_log"]["received_at"].is_monotonic_increasing


def test_a_large_programme_has_more_teams() -> None:
    big = next(generate_blocks(4_000, until=AS_OF, years=0.2))
    assert big.frames["lines"]["site"].nunique() == 20
    assert big.frames["lines"]["family_id"].str.len().eq(6).all()


@pytest.mark.parametrize(("families", "years"), [(0, 2), (5, 0.0)])
def test_an_empty_programme_is_refused_with_a_sentence(families, years) -> None:
    with pytest.raises(ValueError, match="at least 1 and"):
        generate(families, until=AS_OF, years=years)


def test_the_global_random_state_is_left_alone() -> None:
    before = np.random.get_state()[1].tolist()  # noqa: NPY002
    generate(5, until=AS_OF)
    assert np.random.get_state()[1].tolist() == before  # noqa: NPY002
