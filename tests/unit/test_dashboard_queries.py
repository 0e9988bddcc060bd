"""Do pages get what the store says now, and only what belongs to what they name?"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest

from analysis.cli.app import main
from analysis.policy import shipped_policy
from analysis.snapshot import of_sites, take
from analysis.store import Store
from analysis.vocabulary import CallOutcome, Role
from dashboard.addresses.calls import Choice
from dashboard.addresses.family import FamilyChoice
from dashboard.call_actions.queries import CallActions
from dashboard.call_actions.queries.arrangements import ArrangeForm
from dashboard.call_actions.queries.call_form import CallForm
from dashboard.call_state import queries as call_state
from dashboard.calls.queries import CallsQueries
from dashboard.config import DashboardConfig
from dashboard.definitions.queries import DefinitionsQueries
from dashboard.family.queries import FamilyQueries
from dashboard.security.roles import Reader
from dashboard.session.forms import FormError
from dashboard.session.service import Service
from dashboard.session.session import Session
from tests.browser.small_programme import NOW, fill, take_in
from tests.signed_in import knows

AS_OF = date(2031, 3, 4)
FORM = CallForm(
    form="one",
    family_id="F2",
    reached="yes",
    agreed="will change it today",
    recheck_on="2031-03-06",
)


def request(session: Session) -> Session:
    """The next request of the same person."""
    return session.service.session_of(session.reader)


@pytest.fixture(name="small", scope="module")
def _small(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("small"))


@pytest.fixture(name="url")
def _url(small, tmp_path) -> str:
    return f"sqlite:///{shutil.copy(small, tmp_path / 'store.sqlite')}"


@pytest.fixture(name="queries")
def _queries(url, small) -> Iterator[Session]:
    found = looking(DashboardConfig(store_url=url, clock=lambda: NOW))
    knows(found.service, small)
    yield found
    found.service.close()


def looking(config: DashboardConfig, sites: frozenset[str] | None = None) -> Session:
    """What a manager may ask."""
    return Service.open(config).session_of(Reader("N1", Role.MANAGER, sites))


def order(queries: Session, choice: Choice | None = None) -> list[str]:
    view = CallsQueries(request(queries)).calls(choice or Choice())
    return [row.family_id for row in (*view.rows, *view.resting)]


def test_a_recorded_call_shows_at_once_and_as_a_fresh_look_would_show_it(queries, url):
    assert order(queries) == ["F1", "F3", "F2", "F5", "F6"]
    timeline = request(queries).snapshot().timeline
    CallActions(request(queries)).record_call(FORM)
    assert order(queries) == ["F1", "F3", "F5", "F6", "F2"]
    kept = request(queries).snapshot()
    assert kept.timeline is timeline
    with Store.open(url, create=False) as store:
        fresh = take(store, shipped_policy(), AS_OF)
    pd.testing.assert_frame_equal(kept.records.calls, fresh.records.calls)
    pd.testing.assert_frame_equal(kept.calls.families, fresh.calls.families)


def test_a_call_taken_back_is_gone_as_a_fresh_look_would_have_it(queries, url):
    CallActions(request(queries)).record_call(FORM)
    call = CallsQueries(request(queries)).opened("F2", Choice()).calls[0]
    assert CallActions(request(queries)).undo(call.row) == "F2"
    assert order(queries) == ["F1", "F3", "F2", "F5", "F6"]
    with Store.open(url, create=False) as store:
        fresh = take(store, shipped_policy(), AS_OF)
    pd.testing.assert_frame_equal(request(queries).snapshot().records.calls, fresh.records.calls)


def test_rows_that_come_in_show_at_once_also_beside_a_new_call(queries, url, tmp_path):
    assert "F2" in order(queries)
    CallActions(request(queries)).record_call(replace(FORM, family_id="F6"))
    heads = "entry_id,line_id,done_at,kind,findings"
    with Store.open(url, create=False) as store:
        take_in(
            store, tmp_path / "home_log-2.csv", f"{heads}\nz1,L2,2031-03-03,dressing_change,none\n"
        )
    assert order(queries) == ["F1", "F3", "F5", "F6"]


def test_the_day_turns_at_midnight_of_the_programme_without_a_restart(url):
    moments = [NOW, NOW + timedelta(days=1)]
    queries = looking(DashboardConfig(store_url=url, clock=lambda: moments[0]))
    assert CallsQueries(request(queries)).calls(Choice()).context.as_of == AS_OF
    moments.pop(0)
    assert CallsQueries(request(queries)).calls(Choice()).context.as_of == AS_OF + timedelta(days=1)
    queries.service.close()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"family_id": "F99"}, "No family has this code"),
        ({"family_id": ["F2"]}, "No family has this code"),
        ({"family_id": None}, "No family has this code"),
        ({"reached": "perhaps"}, "whether you reached the family"),
        ({"reached": ["yes"]}, "whether you reached the family"),
        ({"agreed": "x" * 2001}, "Shorten what was agreed"),
        ({"recheck_on": "2031-03-03"}, "from 4 Mar 2031 to 4 Jun 2031"),
        ({"recheck_on": "2031-06-05"}, "from 4 Mar 2031 to 4 Jun 2031"),
        ({"recheck_on": "tomorrow"}, "as a date"),
        ({"recheck_on": None}, "as a date"),
        ({"form": None}, "Reload it and try again"),
        ({"form": ["one"]}, "Reload it and try again"),
        ({"form": "x" * 65}, "Reload it and try again"),
    ],
)
def test_nothing_typed_in_is_trusted(queries, changed, said):
    with pytest.raises(FormError, match=said):
        CallActions(request(queries)).record_call(replace(FORM, **changed))
    assert len(request(queries).snapshot().records.calls) == 0


def test_a_form_may_be_anything(queries):
    for given in (None, [], "text", {"family_id": {}}, 7):
        with pytest.raises(FormError):
            CallActions(request(queries)).record_call(CallForm.of(given))


def test_one_form_records_one_call_and_the_next_form_another(queries):
    first = CallActions(request(queries)).record_call(FORM)
    assert CallActions(request(queries)).record_call(FORM) == first
    assert len(request(queries).snapshot().records.calls) == 1
    CallActions(request(queries)).record_call(replace(FORM, form="two", family_id="F6"))
    assert len(request(queries).snapshot().records.calls) == 2


@pytest.mark.parametrize("row", [99, -1, None, "1", True, [1]])
def test_only_a_call_that_stands_can_be_taken_back(queries, row):
    with pytest.raises(FormError, match="no longer on the list"):
        CallActions(request(queries)).undo(row)


def test_a_call_is_taken_back_once(queries):
    CallActions(request(queries)).record_call(FORM)
    row = CallsQueries(request(queries)).opened("F2", Choice()).calls[0].row
    CallActions(request(queries)).undo(row)
    with pytest.raises(FormError, match="no longer on the list"):
        CallActions(request(queries)).undo(row)


def test_a_past_day_can_be_looked_at_and_not_written_to(url):
    config = DashboardConfig(store_url=url, clock=lambda: NOW, as_of=date(2031, 3, 3))
    queries = looking(config)
    assert not request(queries).context().records_calls
    with pytest.raises(FormError, match="shows an earlier day"):
        CallActions(request(queries)).record_call(FORM)
    with pytest.raises(FormError, match="shows an earlier day"):
        CallActions(request(queries)).undo(1)
    queries.service.close()


def test_in_the_demo_the_clock_stands_on_its_day_so_that_calls_can_be_recorded(url):
    late = NOW + timedelta(days=400)
    config = DashboardConfig(store_url=url, clock=lambda: late, as_of=AS_OF, demo=True)
    queries = looking(config)
    CallActions(request(queries)).record_call(FORM)
    assert order(queries)[-1] == "F2"
    queries.service.close()


def test_a_page_gets_only_rows_of_the_family_it_names(queries):
    mine = CallsQueries(request(queries)).opened("F2", Choice()).reasons[0].sources[0]
    assert FamilyQueries(request(queries)).source("F2", mine.table, mine.row).row == mine
    assert FamilyQueries(request(queries)).source("F1", mine.table, mine.row) is None
    for table, row in (
        ("home_log", 999),
        ("files", 1),
        ("home_log; drop table files", 1),
        (None, 1),
    ):
        assert FamilyQueries(request(queries)).source("F2", table, row) is None
    assert FamilyQueries(request(queries)).source("F2", "home_log", "1") is None
    assert FamilyQueries(request(queries)).source("F99", mine.table, mine.row) is None


def test_every_mark_of_every_family_leads_to_a_row_that_its_page_may_show(queries):
    for family in ("F1", "F2", "F3", "F4", "F5", "F6"):
        marks = FamilyQueries(request(queries)).family(family, FamilyChoice()).marks
        assert len(marks)
        for mark in marks:
            found = FamilyQueries(request(queries)).source(family, mark.table, mark.row)
            assert found is not None, (family, mark)


def test_a_family_alone_stands_as_it_stands_among_all(queries):
    found = request(queries).snapshot()
    for family in ("F1", "F2", "F3", "F4", "F5", "F6"):
        alone = request(queries).loaded().of_family(family)
        assert set(alone.records.lines["family_id"]) == {family}
        assert (
            call_state.row_of(alone, family).sentences == call_state.row_of(found, family).sentences
        )
        together = found.timeline.lines.merge(found.timeline.care, on="line")
        care = alone.timeline.lines.merge(alone.timeline.care, on="line")
        same = together[together["family_id"] == family].reset_index(drop=True)
        pd.testing.assert_frame_equal(
            care.drop(columns=["line", "family"]), same.drop(columns=["line", "family"])
        )


def test_the_table_of_a_family_is_cut_into_pages_that_hold_everything_once(queries):
    view = FamilyQueries(request(queries)).family("F1", FamilyChoice(time="all", page=99))
    assert (view.choice.page, view.pages) == (1, 1)
    assert len(view.table) == view.table_rows
    days = [row.on for row in view.table]
    assert days == sorted(days, reverse=True)


def test_the_time_shown_is_the_last_weeks_or_all_of_it(queries):
    weeks, everything = (
        FamilyQueries(request(queries)).family("F1", FamilyChoice(time))
        for time in ("weeks", "all")
    )
    assert weeks.first == AS_OF - timedelta(days=56)
    assert everything.first == date(2030, 12, 10)
    assert weeks.last == everything.last == AS_OF


def test_a_choice_out_of_range_shows_the_nearest_that_there_is(queries):
    assert order(queries, Choice(page=99)) == ["F1", "F3", "F2", "F5", "F6"]
    assert order(queries, Choice(page=-3, per_page=7)) == ["F1", "F3", "F2", "F5", "F6"]
    assert order(queries, Choice(band="no such band")) == ["F1", "F3", "F2", "F5", "F6"]
    assert order(queries, Choice(nurse="no such nurse")) == []


def test_the_next_family_is_the_next_in_order_and_after_the_last_the_first(queries):
    assert CallsQueries(request(queries)).opened("F3", Choice()).next_family_id == "F2"
    assert CallsQueries(request(queries)).opened("F6", Choice()).next_family_id == "F1"
    assert CallsQueries(request(queries)).opened("F3", Choice(site="South")).next_family_id == "F5"


def test_a_family_without_a_reason_still_has_its_page(queries):
    view = FamilyQueries(request(queries)).family("F4", FamilyChoice())
    assert view.row.band == "no_call"
    assert view.reasons == ()
    assert [line.state for line in view.lines] == ["in_date"]


def test_the_policy_in_force_is_shown_with_the_source_of_every_number(queries):
    view = DefinitionsQueries(request(queries)).policy()
    for rule in (*view.intervals, *view.settings, *view.findings):
        assert rule.value
        assert rule.source
    assert len(view.settings) == len(vars(shipped_policy().on(AS_OF).settings))


def test_a_recorded_call_shows_at_once_to_a_person_of_its_site_alone(url):
    config = DashboardConfig(store_url=url, clock=lambda: NOW)
    north = looking(config, frozenset({"North"}))
    south = north.service.session_of(Reader("N2", Role.MANAGER, frozenset({"South"})))
    assert (order(north), order(south)) == (["F1", "F2", "F6"], ["F3", "F5"])
    timeline = request(north).snapshot().timeline
    CallActions(request(north)).record_call(FORM)
    assert (order(north), order(south)) == (["F1", "F6", "F2"], ["F3", "F5"])
    assert [row.rank for row in CallsQueries(request(north)).calls(Choice()).rows] == [1, 2]
    assert request(north).snapshot().timeline is timeline
    assert len(request(south).snapshot().records.calls) == 0
    with Store.open(url, create=False) as store:
        fresh = of_sites(take(store, shipped_policy(), AS_OF), ["North"])
    pd.testing.assert_frame_equal(request(north).snapshot().calls.families, fresh.calls.families)
    north.service.close()


def test_families_are_chosen_by_language_and_none_leaves_to_one_who_may_not_know_it(queries):
    view = CallsQueries(request(queries)).calls(Choice(language="Finnish"))
    assert [row.family_id for row in view.rows] == ["F1"]
    assert (view.languages, view.families_at_home) == (("Finnish",), 1)
    assert (
        CallsQueries(request(queries)).opened("F1", Choice(language="Finnish")).next_family_id
        is None
    )
    assert order(queries, Choice(language="Welsh")) == []


def test_calls_done_today_say_what_came_of_them_and_where_the_family_stands(queries):
    CallActions(request(queries)).record_call(FORM)
    CallActions(request(queries)).record_call(
        replace(FORM, form="two", family_id="F1", reached="no", agreed="")
    )
    view = CallsQueries(request(queries)).calls(Choice())
    assert view.done_count == 2
    red, late = view.done
    assert (red.family_id, red.reached, red.band) == ("F1", False, "same_day_review")
    assert (late.family_id, late.reached, late.agreed) == ("F2", True, "will change it today")
    assert (late.band, late.recheck_on) == ("waiting", date(2031, 3, 6))
    assert (late.made_at.hour, late.made_by) == (9, "N1")
    assert [
        c.family_id
        for c in CallsQueries(request(queries)).calls(Choice(band="done", site="South")).done
    ] == []
    CallActions(request(queries)).undo(late.row)
    assert [
        c.family_id for c in CallsQueries(request(queries)).calls(Choice(band="done")).done
    ] == ["F1"]


def test_below_the_list_stand_ten_that_wait_and_the_rest_on_request(url):
    heads = "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type"
    rows = [f"M{n},D{n},G{n:02},North,picc,2031-02-01,2031-02-02,transparent" for n in range(12)]
    queries = looking(DashboardConfig(store_url=url, clock=lambda: NOW))
    with Store.open(url, create=False) as store:
        folder = Path(url.removeprefix("sqlite:///")).parent
        take_in(store, folder / "lines-2.csv", "\n".join([heads, *rows]) + "\n")
        for n in range(12):
            recheck_on = date(2031, 3, 6)
            store.record_call(f"G{n:02}", "N1", CallOutcome.REACHED, None, recheck_on, NOW)
    view = CallsQueries(request(queries)).calls(Choice())
    assert (view.counts["waiting"], len(view.resting)) == (12, 10)
    assert (view.done_count, len(view.done)) == (12, 10)
    assert len(CallsQueries(request(queries)).calls(Choice(band="waiting")).rows) == 12
    assert len(CallsQueries(request(queries)).calls(Choice(band="done")).done) == 12
    queries.service.close()


@pytest.mark.parametrize(
    ("choice", "options"),
    [
        (Choice(), []),
        (Choice(page=2, family_id="F2"), []),
        (Choice(site="North", nurse="N1"), ["--site", "North", "--nurse", "N1"]),
        (Choice(band="call_today"), ["--band", "call_today"]),
        (Choice(band="waiting"), ["--band", "waiting"]),
        (Choice(language="Finnish"), ["--language", "Finnish"]),
        (Choice(band="done"), ["done"]),
    ],
)
def test_the_list_taken_out_is_byte_for_byte_what_the_command_writes(
    queries, url, choice, options, monkeypatch, tmp_path
):
    CallActions(request(queries)).record_call(replace(FORM, agreed="a note, with a comma"))
    name, text = CallsQueries(request(queries)).calls_table(choice)
    assert name == f"calls{'-done' if choice.band == 'done' else ''}-2031-03-04.csv"
    file = tmp_path / "out.csv"
    words = ["calls", *options, "--store", url, "--as-of", "2031-03-04", "--format", "csv"]
    monkeypatch.setattr("sys.argv", ["linedays", *words, "--out", str(file)])
    with pytest.raises(SystemExit) as stop:
        main()
    assert not stop.value.code
    assert text.encode() == file.read_bytes()
    assert len(text.splitlines()) > 1


def test_one_who_may_see_some_sites_takes_out_those_alone(url):
    config = DashboardConfig(store_url=url, clock=lambda: NOW)
    south = looking(config, frozenset({"South"}))
    _, text = CallsQueries(request(south)).calls_table(Choice())
    assert [line.split(",")[1] for line in text.splitlines()] == ["family_id", "F3", "F5"]
    assert CallsQueries(request(south)).calls_table(Choice(site="North"))[1].count("\n") == 1
    south.service.close()


def test_todays_calls_end_where_the_policy_says_for_all_and_for_one_nurse(url, tmp_path):
    edition = '[[edition]]\nversion = "two"\neffective_from = 2031-01-01\n[edition.settings]\n'
    policy = tmp_path / "two.toml"
    policy.write_text(edition + 'calls_a_day = { value = 2, source = "our team" }\n')
    config = DashboardConfig(store_url=url, clock=lambda: NOW, policy_file=policy)
    queries = looking(config)
    assert (
        CallsQueries(request(queries)).calls(Choice()).capacity.ends_before == "F6"
    )  # the fifth, with room for four
    assert (
        CallsQueries(request(queries)).calls(Choice(nurse="N1")).capacity.ends_before == "F6"
    )  # after F1 and F2
    assert (
        CallsQueries(request(queries)).calls(Choice(nurse="N2")).capacity.ends_before is None
    )  # F3 and F5 fit
    assert CallsQueries(request(queries)).calls(Choice(language="Finnish")).capacity is None
    CallActions(request(queries)).record_call(
        FORM
    )  # F2 is called: F6 moves up, and so does the end
    room = CallsQueries(request(queries)).calls(Choice(nurse="N1")).capacity
    assert (room.possible, room.left, room.ends_before) == (2, 1, "F6")
    queries.service.close()


ASIDE = ArrangeForm(
    form="aside",
    family_id="F2",
    kind="set_aside",
    assigned_to=None,
    until_on="2031-03-07",
    reason="at the lake until Friday",
)
GIVEN = replace(ASIDE, form="given", kind="assigned", assigned_to="N2", until_on=None, reason=None)


def test_a_family_set_aside_shows_at_once_as_a_fresh_look_and_the_command_show_it(queries, url):
    timeline = request(queries).snapshot().timeline
    assert (
        CallActions(request(queries)).arrange(ASIDE)
        == "F2 is postponed and comes back on the list on 7 Mar."
    )
    assert order(queries) == ["F1", "F3", "F5", "F6", "F2"]
    view = CallsQueries(request(queries)).calls(Choice())
    assert view.counts["set_aside"] == 1
    row = view.resting[0]
    assert (row.postponed_by, row.postponed_reason) == ("N1", "at the lake until Friday")
    assert request(queries).snapshot().timeline is timeline
    with Store.open(url, create=False) as store:
        fresh = take(store, shipped_policy(), AS_OF)
    pd.testing.assert_frame_equal(request(queries).snapshot().calls.families, fresh.calls.families)
    text = CallsQueries(request(queries)).calls_table(Choice(band="set_aside"))[1]
    assert "Postponed until 7 Mar by N1. Dressing" in text
    assert "at the lake" not in text  # a note stays on the page
    (made,) = CallsQueries(request(queries)).opened("F2", Choice()).arranged
    assert CallActions(request(queries)).undo(made.row, "arrangements") == "F2"
    assert order(queries) == ["F1", "F3", "F2", "F5", "F6"]


def test_a_family_in_same_day_review_cannot_be_set_aside(queries):
    with pytest.raises(FormError, match="only a call that reaches the family clears a red flag"):
        CallActions(request(queries)).arrange(replace(ASIDE, family_id="F1"))
    CallActions(request(queries)).record_call(replace(FORM, family_id="F1", reached="no"))
    with pytest.raises(FormError, match="be postponed"):
        CallActions(request(queries)).arrange(replace(ASIDE, family_id="F1"))


def test_a_family_assigned_stands_on_that_persons_list_until_it_is_reached(queries):
    assert CallActions(request(queries)).arrange(GIVEN) == "F2 is assigned to N2."
    assert order(queries, Choice(nurse="N1")) == ["F1", "F6"]
    assert order(queries, Choice(nurse="N2")) == ["F3", "F2", "F5"]
    assert CallsQueries(request(queries)).calls(Choice(nurse="N2")).rows[1].assigned_to == "N2"
    CallActions(request(queries)).record_call(FORM)
    assert CallsQueries(request(queries)).opened("F2", Choice()).arranged == ()
    assert [c.family_id for c in CallsQueries(request(queries)).calls(Choice(nurse="N2")).done] == [
        "F2"
    ]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"family_id": "F99"}, "No family has this code"),
        ({"kind": "forgotten"}, "assign or postpone"),
        ({"kind": ["set_aside"]}, "assign or postpone"),
        ({"until_on": "2031-03-04"}, "from 5 Mar 2031 to 4 Apr 2031"),
        ({"until_on": "2031-04-05"}, "from 5 Mar 2031 to 4 Apr 2031"),
        ({"until_on": None}, "as a date"),
        ({"reason": "  "}, "Enter a reason"),
        ({"reason": "x" * 201}, "Shorten the reason"),
        ({"kind": "assigned", "assigned_to": "somebody"}, "Choose who"),
        ({"kind": "assigned", "assigned_to": None}, "Choose who"),
    ],
)
def test_nothing_of_an_arrangement_typed_in_is_trusted(queries, changed, said):
    with pytest.raises(FormError, match=said):
        CallActions(request(queries)).arrange(replace(ASIDE, **changed))
    assert len(request(queries).snapshot().records.arrangements) == 0


def test_a_form_of_an_arrangement_sent_twice_arranges_once(queries):
    assert CallActions(request(queries)).arrange(ASIDE) == CallActions(request(queries)).arrange(
        ASIDE
    )
    assert len(request(queries).snapshot().records.arrangements) == 1
    with pytest.raises(FormError, match="no longer on the list"):
        CallActions(request(queries)).undo(99, "arrangements")


def test_an_arrangement_elsewhere_leaves_what_is_kept_of_other_sites_as_it_was(url):
    north = looking(DashboardConfig(store_url=url, clock=lambda: NOW), frozenset({"North"}))
    south = north.service.session_of(Reader("N2", Role.MANAGER, frozenset({"South"})))
    before = request(south).snapshot()
    CallActions(request(north)).arrange(ASIDE)
    assert order(north) == ["F1", "F6", "F2"]
    assert request(south).snapshot() is before
    with pytest.raises(FormError, match="No family has this code"):
        CallActions(request(south)).arrange(replace(ASIDE, form="other"))
    north.service.close()
