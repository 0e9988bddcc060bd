"""Calls made from the printed list are typed in for all families at once, all or none of them."""

from __future__ import annotations

import re

from tests.signed_in import app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]

SHEET = "/calls/sheet"


def sent(page: str, **typed: str) -> dict[str, str]:
    """The form of a page as a browser sends it, with what is typed in: `F2_reached="yes"`."""
    hidden = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page))
    fields = {}
    for name, text in typed.items():
        family, _, field = name.partition("_")
        fields[f"{field} {family}"] = text
    return {**hidden, "called_by": "N1", **fields}


def calls(app):
    return app.service.store.records().calls.sort_values("family_id")


def test_calls_of_a_printed_list_are_recorded_together_and_once(app):
    person = browser_of(app, "manager")
    page = person.get(SHEET).text
    assert all(f'<span class="code">{family}</span>' in page for family in ("F1", "F2", "F3"))
    form = sent(
        page, F1_reached="no", F1_called_at="08:10", F2_reached="yes", F2_called_at="08:20",
        F2_agreed="will change it today",
    )  # fmt: skip
    answer = person.post(SHEET, form)
    assert (answer.status_code, "2 calls recorded." in answer.text) == (200, True)
    assert "2 calls recorded." in person.post(SHEET, form).text
    made = calls(app)
    assert list(made["family_id"]) == ["F1", "F2"]
    assert list(made["outcome"]) == ["no_answer", "reached"]
    assert [f"{at:%H:%M}" for at in made["called_at"]] == ["08:10", "08:20"]
    assert list(made["called_by"]) == ["N1", "N1"]


def test_pages_show_calls_that_were_typed_in_without_a_day_for_the_next_one(app):
    person = browser_of(app, "manager")
    form = sent(person.get(SHEET).text, F2_reached="yes", F2_called_at="08:20")
    assert person.post(SHEET, form).status_code == 200
    assert calls(app)["recheck_on"].isna().all()
    for path, search in (("/", "?show=done"), ("/", "?family=F2"), ("/family/F2", "")):
        page = person.page(path, search)
        assert page.status_code == 200
        assert "6 Mar" in page.text  # two days after the call, by the policy


def test_one_fault_keeps_all_that_was_typed_and_records_nothing(app):
    person = browser_of(app, "manager")
    form = sent(
        person.get(SHEET).text, F1_reached="yes", F1_called_at="08:10", F2_agreed="asked for kits",
        F3_reached="no", F3_called_at="23:59",
    )  # fmt: skip
    answer = person.post(SHEET, form)
    assert answer.status_code == 422
    assert len(calls(app)) == 0
    for kept in ('value="08:10"', 'value="asked for kits"', 'value="23:59"'):
        assert kept in answer.text
    assert answer.text.count('aria-invalid="true"') == 2
    assert "Choose whether you reached the family." in answer.text
    assert "Enter a time up to now, 09:00." in answer.text


def test_calls_of_an_earlier_day_are_recorded_on_that_day(app):
    person = browser_of(app, "manager")
    page = person.get(f"{SHEET}?day=2031-03-03&nurse=N2").text
    assert '<span class="code">F1</span>' not in page
    form = sent(page, F3_reached="yes", F3_called_at="16:40")
    assert "1 call recorded." in person.post(SHEET, form).text
    assert f"{calls(app)['called_at'].iloc[0]:%Y-%m-%d %H:%M}" == "2031-03-03 16:40"
    again = sent(person.get(f"{SHEET}?day=2031-03-03").text, F3_reached="no", F3_called_at="16:40")
    answer = person.post(SHEET, again)
    assert "is recorded already" in answer.text
    assert len(calls(app)) == 1


def test_only_people_who_record_calls_and_their_sites_have_the_form(app):
    assert browser_of(app, "reader").get(SHEET).status_code in {303, 403}
    south = browser_of(app, "manager.south").get(SHEET).text
    assert '<span class="code">F3</span>' in south
    assert '<span class="code">F1</span>' not in south
