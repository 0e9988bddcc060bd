"""On the page of one's own account: the password is changed, other sign-ins are ended."""

from __future__ import annotations

import re

from tests.signed_in import (
    PASSWORD,
    Browser,
    app,
    browser_of,
    clock,
    programme_file,
    record_of,
    store_url,
)

__all__ = ["app", "clock", "programme_file", "store_url"]

NEW = "gravel lantern oyster nine"  # invented, for tests


def send(person: Browser, path: str, **fields: str):
    form = {"csrf_token": person.cookie("_csrf_token") or "", **fields}
    return person.post(f"/account/{path}", form)


def change(person: Browser, present: str = PASSWORD, new: str = NEW, again: str | None = None):
    return send(person, "password", present=present, new=new, again=new if again is None else again)


def test_a_nurse_changes_her_password_and_goes_on_while_other_sign_ins_end(app):
    person, elsewhere = browser_of(app, "N1"), browser_of(app, "N1")
    answer = change(person)
    assert answer.status_code == 200
    assert "Your password was changed." in answer.text
    assert person.get("/").status_code == 200
    assert elsewhere.get("/").status_code == 303
    assert Browser(app).sign_in("N1").status_code == 401
    assert Browser(app).sign_in("N1", NEW).status_code == 303
    assert ("N1", "set_password", None) in record_of(app)


def test_nothing_changes_where_the_form_is_wrong(app):
    person = browser_of(app, "educator")
    for fields, sentence in (
        ({"present": "not the password at all"}, "The present password is wrong."),
        ({"again": NEW + "!"}, "The two new passwords differ."),
        ({"new": "short"}, "at least 15 characters"),
        ({"new": "passwordpassword"}, "easy to guess"),
    ):
        answer = change(person, **fields)
        assert answer.status_code == 422, fields
        assert f"{sentence}" in answer.text
        assert "Nothing was changed." in answer.text
        assert NEW not in answer.text
    assert person.post("/account/password", {"present": PASSWORD}).status_code == 400
    assert Browser(app).sign_in("educator").status_code == 303


def test_open_sign_ins_are_shown_and_only_ones_own_are_ended(app, clock):
    first = browser_of(app, "N1")
    clock.move(minutes=5)
    second, other = browser_of(app, "N1"), browser_of(app, "educator")
    shown = second.get("/account").text
    assert shown.count("this one") == 1
    assert "127.0.0.1" in shown
    (number,) = re.findall(r'name="number" value="(\w+)"', shown)
    assert send(other, "sign-ins", number=number).status_code == 200
    assert first.get("/").status_code == 200
    answer = send(second, "sign-ins", number=number)
    assert "That sign-in ended." in answer.text
    assert 'name="number"' not in answer.text
    assert first.get("/").status_code == 303
    assert second.get("/").status_code == 200
