"""Filters and order stay as a person set them, on every machine, until they are cleared."""

from __future__ import annotations

from typing import Any

from tests.signed_in import app, browser_of, callback_request, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]


def choose(app: Any, person: Any, search: str) -> str:
    """Choose a part of the call list on its page, as its lists to choose from do."""
    name = next(name for name in app.callback_map if "calls-list.children" in name)
    values = {"url.search": search, "url.pathname": "/", "opened.data": {}, "changed.data": 0}
    asked = callback_request(app, name, **values)
    asked["changedPropIds"] = ["url.search"]
    answer = person.ask(asked)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_the_call_list_opens_as_the_person_left_it(app: Any) -> None:
    person = browser_of(app, "manager")
    assert person.get("/").status_code == 200
    assert "Clear filters" not in choose(app, person, "?show=waiting")
    assert "Clear filters" in choose(app, person, "?show=waiting&nurse=N1&rows=100&family=F1")
    elsewhere = browser_of(app, "manager")
    led = elsewhere.get("/")
    assert (led.status_code, led.headers["Location"]) == (303, "/?nurse=N1&rows=100")
    assert elsewhere.get("/?site=South").status_code == 200  # a link shows what it says
    assert browser_of(app, "manager.north").get("/").status_code == 200
    choose(app, person, "")  # cleared
    assert elsewhere.get("/").status_code == 200


def test_a_nurse_who_wants_all_families_keeps_them(app: Any) -> None:
    person = browser_of(app, "N1")
    choose(app, person, "?nurse=*")
    assert person.get("/").headers["Location"] == "/?nurse=%2A"


def test_the_list_of_families_keeps_its_order(app: Any) -> None:
    person = browser_of(app, "manager")
    person.page("/families", "?place=call_today&site=&nurse=&q=&sort=overdue")
    person.page("/families", "?q=F3")  # a search is for once
    assert person.get("/families").headers["Location"] == "/families?place=call_today&sort=overdue"
    person.page("/families", "?sort=family")
    assert person.get("/families").status_code == 200
