"""Contacts are printed only by a person's own act, which the access log holds."""

from __future__ import annotations

import re

from tests.signed_in import (
    CONTACT,
    LANGUAGE,
    app,
    browser_of,
    clock,
    is_named,
    programme_file,
    store_url,
)

__all__ = ["app", "clock", "programme_file", "store_url"]
PATH = "/calls/contacts"


def printed(app) -> list[list[str]]:
    noted = app.service.store.people.accesses()
    return noted.loc[noted["what"] == "printed_contacts", ["who", "about"]].values.tolist()


def test_the_list_with_contacts_is_asked_for_and_logged(app):
    nurse = browser_of(app, "N1")
    assert "Print with contacts" in nurse.page("/").text
    question = nurse.get(PATH)
    assert CONTACT not in question.text
    assert printed(app) == []
    found = re.search(r"how to reach (\d+ famil\w+)", question.text)
    token = re.search(r'name="csrf_token" value="([^"]+)"', question.text)
    assert found is not None
    assert token is not None
    shown = nurse.post(PATH, {"csrf_token": token[1]})
    assert f"{CONTACT}</b> <b>{LANGUAGE},</b>" in shown.text
    assert "does not diagnose" in shown.text
    assert printed(app) == [["N1", found[1]]]
    assert "printed the list with contacts of" in browser_of(app, "manager").page("/record").text
    assert nurse.post(PATH, {"csrf_token": "forged"}).status_code == 400
    assert len(printed(app)) == 1


def test_people_of_a_site_print_their_own_families_alone(app):
    south = browser_of(app, "manager.south")
    text = south.get(PATH).text
    token = re.search(r'name="csrf_token" value="([^"]+)"', text)
    assert token is not None
    shown = south.post(f"{PATH}?site=North", {"csrf_token": token[1]}).text
    assert CONTACT not in shown
    assert not is_named("F1", shown)


def test_who_may_not_see_contacts_gets_no_such_list(app):
    for code in ("educator", "educator.granted", "prevention", "reader"):
        person = browser_of(app, code)
        assert person.get(PATH).status_code in {303, 403}  # led to a page of their own, or refused
    assert printed(app) == []
