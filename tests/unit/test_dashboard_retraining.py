"""What the educator's page answers: the right families to the right people, with their proof."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from analysis.snapshot import take
from dashboard.addresses.retraining import NeedsChoice, SessionName
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.family.queries import FamilyQueries
from dashboard.figures import before_after, learning_by_changes, step_picture
from dashboard.retraining.effect_cards import (
    effect_card,
    effect_words,
    learning_card,
    learning_words,
)
from dashboard.retraining.queries import RetrainingQueries
from dashboard.retraining.queries.needs import place_of
from dashboard.retraining.queries.page import training_of
from dashboard.retraining.queries.refreshers import RefresherForm
from dashboard.retraining.views import HelpedView
from dashboard.security.roles import NotAllowedError, Page, Reader
from dashboard.session.forms import FormError
from tests.retrained import NOW, PEOPLE, fill
from tests.signed_in import Clock, browser_of, callback_request, is_named

READERS = {c: Reader(c, role, None if s is None else frozenset(s)) for c, role, s in PEOPLE}


@pytest.fixture(scope="module")
def programme(tmp_path_factory) -> Path:
    return fill(tmp_path_factory.mktemp("retrained"))


@pytest.fixture(scope="module")
def app_looked_at(programme, tmp_path_factory):
    file = shutil.copy(programme, tmp_path_factory.mktemp("looked-at") / "store.sqlite")
    made = create_app(DashboardConfig(store_url=f"sqlite:///{file}", clock=lambda: NOW))
    yield made
    made.service.close()


def queries(app, code: str = "E1"):
    return app.service.session_of(READERS[code])


def test_the_surest_need_stands_first_with_its_counts(app_looked_at):
    view = RetrainingQueries(queries(app_looked_at)).needs(NeedsChoice())
    told = [(r.family_id, r.caregiver_id, r.step, r.missed, r.seen) for r in view.rows]
    # Where nobody else misses a step, a caregiver who does stands out more.
    assert told == [
        ("F3", "K3", "dry_time", 10, 12),
        ("F2", "K2", "mask", 9, 12),
        ("F6", "K6", "mask", 8, 12),
        # Since the refresher of 15 January; before it 6 of 6 were missed.
        ("F1", "K1", "mask", 4, 6),
    ]
    assert view.first == view.rows[0]
    assert all(r.prob > 0.95 and r.sureness == "sure" and r.limit == 0.2 for r in view.rows)
    assert [r.family_id for r in view.rows if r.refreshed_on is not None] == ["F1"]


def test_the_list_narrows_by_step_and_site_and_comes_in_pages(app_looked_at):
    asked = queries(app_looked_at)
    assert {r.family_id for r in RetrainingQueries(asked).needs(NeedsChoice(step="mask")).rows} == {
        "F1",
        "F2",
        "F6",
    }
    assert {
        r.family_id for r in RetrainingQueries(asked).needs(NeedsChoice(site="South")).rows
    } == {"F6"}
    beyond = RetrainingQueries(asked).needs(
        NeedsChoice(page=7, per_page=3, step="no such", site="nowhere")
    )
    assert (beyond.choice.page, beyond.choice.per_page) == (1, 50)
    assert (beyond.choice.step, beyond.choice.site, beyond.total) == (None, None, 4)


def test_an_opened_need_is_proven_by_rows_of_its_own_family(app_looked_at):
    asked = queries(app_looked_at)
    opened = RetrainingQueries(asked).need("F3", "K3", "dry_time")
    assert opened.row.missed == len(opened.sources) + opened.sources_left_out == 10
    for source in opened.sources:
        cells = dict(source.cells)
        assert (cells["family_id"], cells["steps_missed"]) == ("F3", "let dry long enough")
        assert (
            FamilyQueries(asked).source("F3", "home_log", source.row).row.row_number
            == source.row_number
        )
    done = [dict(source.cells)["done_on"] for source in opened.sources]
    days = list(pd.to_datetime(pd.Series(done), format="%d %b %Y"))
    assert days == sorted(days, reverse=True)
    assert [(s.skill, s.is_current) for s in opened.skills] == [("dressing_change", True)]


def test_a_need_that_is_not_there_opens_the_familys_surest_or_nothing(app_looked_at):
    asked = queries(app_looked_at)
    assert RetrainingQueries(asked).need("F1", None, "edges_sealed").row.step == "mask"
    assert RetrainingQueries(asked).need("F8", "K8", "mask") is None
    assert RetrainingQueries(asked).need("nobody", None, None) is None


def test_each_need_is_found_at_its_own_row(app_looked_at):
    training = training_of(queries(app_looked_at).loaded())
    needs = training.needs.astype("object").where(training.needs.notna(), None)
    named = zip(needs["family_id"], needs["caregiver_id"], needs["step"], strict=True)
    assert len(needs) > 1
    assert [place_of(training, *one) for one in named] == [*range(len(needs))]
    first = training.needs_of("F1").index[0]
    assert place_of(training, "F1", ["K1"], {"step": "mask"}) == first


def test_a_person_of_a_site_is_told_of_that_site_alone(app_looked_at):
    south = queries(app_looked_at, "E.south")
    view = RetrainingQueries(south).needs(NeedsChoice(show="all"))
    assert {r.family_id for r in view.rows} == {"F6"}
    assert (view.sites, view.families, view.self_checked) == (("South",), 3, 3)
    assert RetrainingQueries(south).need("F1", "K1", "mask") is None
    assert RetrainingQueries(south).skills(NeedsChoice()).rows == ()
    assert set(RetrainingQueries(south).picture(NeedsChoice()).families) <= {"F6"}
    text = browser_of(app_looked_at, "E.south").page("/retraining", "?family=F1&need=mask").text
    assert "South" in text
    for hidden in ("North", "K1", "K4", "F2", "Finnish"):
        assert not is_named(hidden, text)  # a random token may hold its letters


def test_who_is_not_signed_off_is_told_by_skill(app_looked_at):
    asked = queries(app_looked_at)
    view = RetrainingQueries(asked).skills(NeedsChoice())
    assert [(r.caregiver_id, r.why) for r in view.rows] == [
        ("K4", "never demonstrated"),
        ("K5", "sign-off expired"),
    ]
    assert dict(view.counts) == {
        "dressing_change": 2,
        "connector_change": None,
        "flush": None,
        "needle_change": None,
    }
    flush = RetrainingQueries(asked).skills(NeedsChoice(skill="flush"))
    assert (flush.skill, flush.rows) == ("flush", ())
    assert RetrainingQueries(asked).skills(NeedsChoice(skill="juggling")).skill == "dressing_change"


def test_the_picture_has_each_family_once_by_its_surest_caregiver(app_looked_at):
    view = RetrainingQueries(queries(app_looked_at)).picture(NeedsChoice())
    assert view.families == ("F3", "F2", "F6", "F1")
    assert set(view.steps) == {"mask on", "let dry long enough"}
    assert not view.cells.duplicated(["family_id", "step_name"]).any()
    figure = step_picture(view.cells, view.families, view.steps)
    assert list(figure.layout.yaxis.ticktext) == list(view.families)
    numbers = [text for trace in figure.data for text in trace.text]
    assert numbers == ["99"] * 4


def test_families_of_a_site_who_miss_the_same_step_share_a_session(app_looked_at):
    asked = queries(app_looked_at)
    view = RetrainingQueries(asked).sessions(NeedsChoice(size=6))
    assert [(r.name, r.families) for r in view.rows] == [
        (SessionName("North", "mask", None, 1, 6), ("F1", "F2"))
    ]
    by_language = RetrainingQueries(asked).sessions(NeedsChoice(together="language"))
    assert [r.name.language for r in by_language.rows] == ["Finnish"]
    assert RetrainingQueries(asked).sessions(NeedsChoice(site="South")).rows == ()
    assert RetrainingQueries(queries(app_looked_at, "E.south")).sessions(NeedsChoice()).rows == ()


def test_the_sheet_of_a_session_names_whom_it_asks_and_no_other(app_looked_at):
    name = SessionName("North", "mask", None, 1, 8)
    sheet = RetrainingQueries(queries(app_looked_at)).sheet(name)
    told = [(r.need.family_id, r.need.caregiver_id, r.need.missed, r.relation) for r in sheet.rows]
    assert told == [("F1", "K1", 4, "parent"), ("F2", "K2", 9, "parent")]
    for other in (
        SessionName("North", "mask", "Polish", 1, 8),
        SessionName("North", "mask", None, 2, 8),
        SessionName("North", "mask", None, 1, 2),
        SessionName("South", "mask", None, 1, 8),
    ):
        assert RetrainingQueries(queries(app_looked_at)).sheet(other) is None
    assert RetrainingQueries(queries(app_looked_at, "E.south")).sheet(name) is None
    page = browser_of(app_looked_at, "E.south").page(
        "/retraining", "?sheet=1&site=North&need=mask&size=8"
    )
    assert "No such session is planned" in page.text


@pytest.mark.parametrize("code", ["P1", "R1"])
def test_other_roles_get_nothing_of_the_page(app_looked_at, code):
    for ask in (
        lambda q: q.needs(NeedsChoice()),
        lambda q: q.need("F1", "K1", "mask"),
        lambda q: q.picture(NeedsChoice()),
        lambda q: q.skills(NeedsChoice()),
        lambda q: q.sessions(NeedsChoice()),
        lambda q: q.helped(NeedsChoice()),
        lambda q: q.sheet(SessionName("North", "mask", None, 1, 8)),
    ):
        with pytest.raises(NotAllowedError):
            ask(RetrainingQueries(queries(app_looked_at, code)))
    person = browser_of(app_looked_at, code)
    assert person.page("/retraining").status_code == 403
    of_page = [
        name
        for name, c in app_looked_at.callback_map.items()
        if getattr(c.get("callback"), "guarded_for", None) is Page.RETRAINING
    ]
    assert len(of_page) >= 2
    for name in of_page:
        given = {"url.search": "?family=F1&caregiver=K1&need=mask", "url.pathname": "/retraining"}
        answer = person.ask(callback_request(app_looked_at, name, **given))
        assert answer.status_code == 403
        assert "F1" not in answer.text


def test_opening_a_need_is_noted_as_opening_its_family(programme, tmp_path):
    file = shutil.copy(programme, tmp_path / "store.sqlite")
    app = create_app(DashboardConfig(store_url=f"sqlite:///{file}", clock=lambda: NOW))
    RetrainingQueries(queries(app)).need("F2", "K2", "mask")
    noted = app.service.store.people.accesses()
    assert (noted["who"].iloc[0], noted["what"].iloc[0], noted["family_id"].iloc[0]) == (
        "E1",
        "opened_family",
        "F2",
    )
    app.service.close()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(programme, tmp_path, clock):
    file = shutil.copy(programme, tmp_path / "store.sqlite")
    made = create_app(DashboardConfig(store_url=f"sqlite:///{file}", clock=clock))
    yield made
    made.service.close()


def form(**other) -> RefresherForm:
    typed = {
        "family_id": "F2",
        "caregiver_id": "K2",
        "skill": "dressing_change",
        "signed_on": "2031-03-03",
        "outcome": "independent",
    }
    return RefresherForm.of({**typed, **other})


def refreshers_of(app, caregiver: str) -> list[str]:
    shown = app.service.snapshot(None).records.sign_offs
    mine = shown[(shown["caregiver_id"] == caregiver) & (shown["kind"] == "refresher")]
    return mine["signed_on"].dt.strftime("%Y-%m-%d").tolist()


def test_a_marked_refresher_is_a_row_like_any_other_and_says_who_marked_it(app):
    assert "K2" in RetrainingQueries(queries(app)).mark_refresher(form())
    assert RetrainingQueries(queries(app)).mark_refresher(form()) == RetrainingQueries(
        queries(app)
    ).mark_refresher(form())  # sent thrice, marked once
    assert refreshers_of(app, "K2") == ["2031-03-03"]
    opened = RetrainingQueries(queries(app)).need("F2", "K2", "mask")
    assert str(opened.row.refreshed_on) == "2031-03-03"
    assert [(m.caregiver_id, m.marked_by) for m in opened.marked] == [("K2", "E1")]
    source = app.service.store.source_rows("sign_offs", [opened.marked[0].row])[0]
    assert source.file == "refresher marked by E1.csv"
    assert source.received_at == NOW
    ingests = app.service.store.ingests()
    assert ingests[["source", "brought_by"]].iloc[-1].tolist() == ["page of retraining", "E1"]
    assert [s.kind for s in opened.skills] == ["refresher"]
    listed = RetrainingQueries(queries(app)).needs(NeedsChoice())
    assert ("F2", "mask") not in [(r.family_id, r.step) for r in listed.rows]
    watching = RetrainingQueries(queries(app)).needs(NeedsChoice(show="watching")).rows
    assert [(r.family_id, r.state) for r in watching] == [("F2", "too_early")]
    noted = app.service.store.people.accesses()
    marked = noted[noted["what"] == "marked_refresher"]
    assert marked[["who", "family_id"]].values.tolist() == [["E1", "F2"]]


def test_after_a_refresher_only_what_depends_on_sign_offs_is_calculated_again(app):
    before = app.service.snapshot(None)
    assert len(before.retraining)
    RetrainingQueries(queries(app)).mark_refresher(form())
    after = app.service.snapshot(None)
    assert after.timeline is before.timeline
    assert after.records.home_log is before.records.home_log
    fresh = take(app.service.store, app.service.policy, after.as_of)
    assert after.practice.equals(fresh.practice)
    assert after.retraining.equals(fresh.retraining)
    assert after.calls.reasons.equals(fresh.calls.reasons)
    assert after.records.sign_offs.equals(fresh.records.sign_offs)
    by = app.service.loaded(None).of_family("F2").records.sign_offs
    assert by["kind"].tolist() == ["first", "refresher"]


def test_a_refresher_is_taken_back_and_may_be_marked_again(app, clock):
    RetrainingQueries(queries(app)).mark_refresher(form())
    clock.move(minutes=1)
    row = RetrainingQueries(queries(app)).need("F2", "K2", "mask").marked[0].row
    assert RetrainingQueries(queries(app, "M1")).undo_refresher(row) == "F2"
    assert refreshers_of(app, "K2") == []
    assert RetrainingQueries(queries(app)).need("F2", "K2", "mask").marked == ()
    with pytest.raises(FormError, match="no longer stored"):
        RetrainingQueries(queries(app)).undo_refresher(row)
    clock.move(minutes=1)
    RetrainingQueries(queries(app)).mark_refresher(form())
    assert refreshers_of(app, "K2") == ["2031-03-03"]
    noted = app.service.store.people.accesses()
    assert "took_back_refresher" in set(noted["what"])


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"outcome": None}, "Choose how it went."),
        ({"signed_on": ""}, "Fill in the day it was held on."),
        ({"signed_on": "2031-02-30"}, 'signed_on "2031-02-30": there is no such day.'),
        ({"signed_on": "1731-02-20"}, "too far in the past or future"),
        ({"skill": "juggling"}, "Write one of dressing_change, connector_change"),
        ({"signed_on": "2031-03-05"}, "Choose a day up to today, 4 Mar 2031."),
        ({"signed_on": "2030-11-20"}, "by K2 on 20 Nov 2030 is stored already"),
        ({"caregiver_id": "K1"}, "Choose the caregiver who was trained"),
        ({"caregiver_id": None}, "Choose the caregiver who was trained"),
        ({"family_id": "nobody"}, "There is no family with this code"),
        ({"family_id": ["F2"]}, "There is no family with this code"),
    ],
)
def test_what_does_not_fit_is_said_at_once_and_nothing_is_stored(app, typed, said):
    before = app.service.store.data_version()
    with pytest.raises(FormError) as fault:
        RetrainingQueries(queries(app)).mark_refresher(form(**typed))
    assert said in str(fault.value)
    assert app.service.store.data_version() == before
    assert app.service.store.refused().empty


def test_a_refresher_that_came_with_a_file_is_not_taken_back_here(app):
    shown = app.service.snapshot(None).records.sign_offs
    row = int(shown.loc[shown["kind"] == "refresher", "row"].iloc[0])
    with pytest.raises(FormError, match="imported from a file"):
        RetrainingQueries(queries(app)).undo_refresher(row)
    assert refreshers_of(app, "K1") == ["2031-01-15"]


def test_who_may_not_mark_marks_nothing_even_by_a_request_of_their_own(app):
    name = next(n for n, c in app.callback_map.items() if c["inputs"][0]["id"] == "mark-refresher")
    typed = dict(vars(form()))
    for code in ("P1", "R1"):
        sent = callback_request(app, name, **{"mark-refresher.data": typed})
        assert browser_of(app, code).ask(sent).status_code == 403
    sent = callback_request(app, name, **{"mark-refresher.data": typed})
    assert "no family with this code" in browser_of(app, "E.south").ask(sent).text
    assert browser_of(app, "E1").ask(sent, **{"X-CSRFToken": "forged"}).status_code == 400
    assert refreshers_of(app, "K2") == []
    assert "Marked: a refresher" in browser_of(app, "E1").ask(sent).text
    row = RetrainingQueries(queries(app)).need("F2", "K2", "mask").marked[0].row
    with pytest.raises(FormError, match="no longer stored"):
        RetrainingQueries(queries(app, "E.south")).undo_refresher(row)


def test_a_past_day_is_only_looked_at(programme, tmp_path):
    file = shutil.copy(programme, tmp_path / "store.sqlite")
    made = create_app(
        DashboardConfig(store_url=f"sqlite:///{file}", clock=lambda: NOW, as_of=date(2031, 3, 3))
    )
    assert not RetrainingQueries(queries(made)).need("F2", "K2", "mask").may_mark
    with pytest.raises(FormError, match="earlier day"):
        RetrainingQueries(queries(made)).mark_refresher(form(signed_on="2031-03-01"))
    made.service.close()


def helped(effects=(), learning=()) -> HelpedView:
    """A view from rows written as text: see the tests."""
    names = ("own_ratio", "own_lower", "own_upper")
    names = (*names, "adjusted_ratio", "adjusted_lower", "adjusted_upper")
    counts = ("families", "missed_before", "seen_before", "missed_after", "seen_after")
    of_effect = [
        {"step_name": name, "reading": "so it reads", **dict(zip(counts, ns, strict=True)),
         **dict(zip(names, ratios, strict=True))}
        for name, ns, ratios in effects
    ]  # fmt: skip
    ranges = ("name", "families", "missed", "seen", "share", "lower", "upper")
    return HelpedView(
        pd.DataFrame(of_effect, columns=["step_name", "reading", *counts, *names]),
        pd.DataFrame([dict(zip(ranges, r, strict=True)) for r in learning], columns=list(ranges)),
        "mask" if learning else None,
        "mask on",
        (("mask", "mask on"),),
        91,
        "",
    )


NAN = float("nan")
COUNTS = (12, 60, 100, 30, 100)


def test_before_and_after_is_read_from_the_comparison_and_never_from_the_families_own():
    halved = helped([("mask on", COUNTS, (0.5, 0.4, 0.6, 0.9, 0.6, 1.3))])
    assert "Refreshers made no measurable difference" in effect_words(halved)
    better = helped([("mask on", COUNTS, (0.5, 0.4, 0.6, 0.6, 0.4, 0.9))])
    assert "Less was missed than after similar bad periods: mask on." in effect_words(better)
    worse = helped([("mask on", COUNTS, (0.9, 0.8, 1.0, 1.6, 1.1, 2.2))])
    assert "More was missed than after similar bad periods: mask on." in effect_words(worse)
    for view in (halved, better, worse):
        assert (
            "12 families with entries in the 91 days before and after a refresher"
            in effect_words(view)
        )


def test_no_refresher_one_family_and_no_change_are_told_in_sentences(app_looked_at):
    none = RetrainingQueries(queries(app_looked_at, "E.south")).helped(NeedsChoice())
    assert none.effects.empty
    assert "its effect cannot be shown yet" in str(effect_card(none))
    one = RetrainingQueries(queries(app_looked_at)).helped(NeedsChoice())
    assert set(one.effects["families"]) == {1}
    assert effect_words(one).startswith("1 family with entries in the 91 days before and after")
    assert "too few families" in effect_words(one)
    assert "Against similar bad periods" in str(effect_card(one))
    assert "regression to the mean" in str(effect_card(one))
    nobody = helped()
    assert "so there is no curve" in str(learning_card(nobody))


def test_the_learning_curve_of_a_step_counts_what_the_log_says(app_looked_at):
    view = RetrainingQueries(queries(app_looked_at)).helped(NeedsChoice(curve="dry_time"))
    told = view.learning[["name", "families", "missed", "seen"]].values.tolist()
    # K5's sign-off is older than the first change; K4 has none and is left out.
    assert told == [["1–5", 7, 5, 35], ["6–10", 7, 5, 35], ["11–20", 7, 0, 14]]
    assert view.curve_name == "let dry long enough"
    assert (
        RetrainingQueries(queries(app_looked_at)).helped(NeedsChoice(curve="juggling")).curve
        == "mask"
    )


def test_the_curve_is_read_by_its_limits():
    first = ("1–5", 20, 40, 100, 0.4, 0.3, 0.5)
    for last, said in (
        (("51 on", 20, 10, 100, 0.1, 0.05, 0.2), "less, by more than chance"),
        (("51 on", 20, 70, 100, 0.7, 0.6, 0.8), "more, by more than chance"),
        (("51 on", 20, 38, 100, 0.38, 0.3, 0.5), "no clear difference"),
        (("51 on", 3, 1, 10, 0.1, NAN, NAN), "too few families for limits"),
    ):
        assert said in learning_words(helped(learning=[first, last]))
    assert "no caregiver has done more changes yet" in learning_words(helped(learning=[first]))


def test_the_figures_tell_by_shape_and_keep_ratios_without_limits_to_the_table():
    view = helped(
        [
            ("mask on", COUNTS, (0.5, 0.4, 0.6, 0.9, 0.6, 1.3)),
            ("hands washed", COUNTS, (0.0, NAN, NAN, 40.0, 9.0, 90.0)),
        ]
    )
    figure = before_after(view.effects)
    marks = {t.name: t for t in figure.data}
    assert list(marks["own"].x) == [0.5]
    assert marks["own"].marker.symbol != marks["adjusted"].marker.symbol
    assert list(marks["adjusted"].x) == [0.9, 8.0]  # beyond the axis it stands at its end
    curve = learning_by_changes(
        helped(
            learning=[("1–5", 9, 0, 40, 0.0, 0.0, 0.1), ("6–10", 2, 1, 5, 0.2, NAN, NAN)]
        ).learning
    )
    assert list(curve.layout.xaxis.ticktext) == ["1–5<br>9<br>40", "6–10<br>2<br>5"]
    limits, dots = curve.data
    assert list(limits.x) == [0, 0, None]
    assert dots.marker.color[0] != dots.marker.color[1]  # nothing missed: an open dot
