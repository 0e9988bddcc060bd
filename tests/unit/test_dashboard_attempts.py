"""A call without an answer hides nothing: the family keeps its band, and everyone sees the attempt."""

from __future__ import annotations

from datetime import date, timedelta

from analysis.vocabulary import Role
from dashboard.addresses.calls import Choice
from dashboard.call_actions.queries import CallActions, CallForm
from dashboard.calls.queries import CallsQueries
from dashboard.security.roles import Reader
from tests.signed_in import NOW, app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]

MANAGER, COLLEAGUE = Reader("N1", Role.MANAGER), Reader("N2", Role.MANAGER)


def no_answer(app, family: str) -> str:
    today = app.service.as_of()
    form = CallForm(f"{family} {today}", family, "no", "", str(today + timedelta(days=3)))
    return CallActions(app.service.session_of(MANAGER)).record_call(form)


def seen(app):
    return CallsQueries(app.service.session_of(COLLEAGUE)).calls(Choice())


def test_a_family_that_did_not_answer_stays_in_its_band_and_shows_the_attempt(app):
    before = {row.family_id: row.band for row in seen(app).rows}
    said = no_answer(app, "F2")
    assert said == "Call recorded. F2 stays on the list."
    after = seen(app)
    assert {row.family_id: row.band for row in after.rows} == before
    (row,) = [row for row in after.rows if row.family_id == "F2"]
    assert row.attempts == "Tried 09:00, no answer."
    assert len(row.sentences) >= 1
    person = browser_of(app, "manager")
    for page in (person.page("/").text, person.page("/", "?family=F2").text):
        assert page.count("Tried 09:00, no answer.") >= 1
    assert "Tried 09:00, no answer." in person.page("/family/F2").text
    assert "4 Mar, 09:00" in person.page("/family/F2").text


def test_a_red_flag_keeps_its_place_when_nobody_answers(app):
    assert seen(app).first.family_id == "F1"
    no_answer(app, "F1")
    first = seen(app).first
    assert (first.family_id, first.band) == ("F1", "same_day_review")


def test_after_two_days_without_an_answer_another_way_is_asked_for(app, clock):
    no_answer(app, "F2")
    clock.move(days=1)
    no_answer(app, "F2")
    assert app.service.as_of() == date(2031, 3, 5) == (NOW + timedelta(days=1)).date()
    (row,) = [row for row in seen(app).rows if row.family_id == "F2"]
    assert "No answer on 2 days in a row: find another way to reach the family." in row.attempts
