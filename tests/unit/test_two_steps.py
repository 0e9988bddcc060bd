"""Two-step sign-in: a password alone lets nobody in, a code counts once, and a lost phone is no end."""

from __future__ import annotations

import base64
import re

import pyotp
import pytest

from analysis.store import StoreError
from analysis.store.second_factor import STEP_SECONDS
from tests.signed_in import PASSWORD, Browser, app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]


def test_the_codes_are_those_of_the_standard():
    # RFC 6238 (2011), appendix B, SHA-1, the last 6 digits of the printed 8; secret of the appendix.
    secret = base64.b32encode(b"12345678901234567890").decode()
    totp = pyotp.TOTP(secret, interval=STEP_SECONDS)
    printed = {59: "287082", 1111111109: "081804", 1111111111: "050471", 1234567890: "005924"}
    assert {at: totp.at(at) for at in printed} == printed


class Phone:
    """An authenticator that holds the secret of a page."""

    def __init__(self, page: str, clock) -> None:
        self.totp = pyotp.TOTP(re.search(r"Key: <code>(\w+)</code>", page)[1])
        self.clock = clock

    def code(self) -> str:
        return self.totp.at(self.clock())


def send(person: Browser, act: str, **fields: str):
    form = {"csrf_token": person.cookie("_csrf_token") or "", "act": act, **fields}
    return person.post("/account/two-steps", form)


def set_up(person: Browser, clock) -> tuple[Phone, list[str]]:
    page = send(person, "begin", present=PASSWORD).text
    assert "data:image/svg+xml" in page
    phone = Phone(page, clock)
    done = send(person, "confirm", typed=phone.code()).text
    assert "Two-step sign-in is set up." in done
    return phone, re.findall(r"<li><code>([\w-]+)</code></li>", done)


def second_step(person: Browser, typed: str):
    page = person.get("/sign-in/code").text
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)[1]
    return person.post("/sign-in/code", {"csrf_token": token, "typed": typed, "to": "/definitions"})


def after_password(app) -> Browser:
    """A browser with which the right password was typed."""
    person = Browser(app)
    answer = person.sign_in("N1", to="/definitions")
    assert answer.headers["Location"] == "/sign-in/code?to=%2Fdefinitions"
    assert person.cookie("linedays_sign_in") is None
    assert person.get("/definitions").status_code == 303
    return person


def test_with_a_second_factor_the_password_alone_lets_nobody_in(app, clock):
    phone, _ = set_up(browser_of(app, "N1"), clock)
    clock.move(seconds=60)
    person = after_password(app)
    wrong = second_step(person, "000000" if phone.code() != "000000" else "111111")
    assert wrong.status_code == 401
    assert "not the code of this moment" in wrong.text
    code = phone.code()
    assert second_step(person, code).headers["Location"] == "/definitions"
    assert person.get("/definitions").status_code == 200
    assert second_step(after_password(app), code).status_code == 401  # seen over a shoulder
    assert Browser(app).sign_in("educator").headers["Location"] == "/"


def test_a_recovery_code_lets_in_once(app, clock):
    _, codes = set_up(browser_of(app, "N1"), clock)
    assert len(set(codes)) == 10
    person = after_password(app)
    assert second_step(person, f" {codes[3].upper()}").status_code == 303
    assert "9 recovery codes are left" in person.get("/account").text
    assert second_step(after_password(app), codes[3]).status_code == 401


def test_guessed_codes_have_to_wait_and_a_pause_asks_for_the_password_again(app, clock):
    phone, _ = set_up(browser_of(app, "N1"), clock)
    clock.move(seconds=60)
    person = after_password(app)
    for _ in range(5):
        assert second_step(person, "no").status_code == 401
    assert second_step(person, phone.code()).status_code == 429
    assert Browser(app).sign_in("N1").status_code == 429  # the password does not clear the wait
    clock.move(minutes=6)
    assert person.get("/sign-in/code").headers["Location"] == "/sign-in?old=1"
    assert Browser(app).get("/sign-in/code").headers["Location"] == "/sign-in?old=1"


def test_it_is_begun_and_ended_with_the_password_or_by_the_administrator(app, clock):
    person = browser_of(app, "N1")
    assert send(person, "begin", present="not the password at all").status_code == 422
    page = send(person, "begin", present=PASSWORD).text
    assert "not the code of this moment" not in page
    assert send(person, "confirm", typed="no").status_code == 422
    assert Browser(app).sign_in("N1").headers["Location"] == "/"  # not confirmed: not asked for
    set_up(person, clock)
    assert send(person, "begin", present=PASSWORD).status_code == 422
    assert send(person, "end", present="not the password at all").status_code == 422
    assert "password alone from now on" in send(person, "end", present=PASSWORD).text
    assert Browser(app).sign_in("N1").headers["Location"] == "/"
    set_up(person, clock)
    people = app.service.store.people
    assert people.users_of_two_steps() == {"N1"}
    people.reset_two_steps("N1", clock(), by="command line")
    assert person.get("/definitions").status_code == 303
    assert Browser(app).sign_in("N1").headers["Location"] == "/"
    with pytest.raises(StoreError, match="N1 has no two-step sign-in"):
        people.reset_two_steps("N1", clock(), by="command line")
    acts = people.accesses()["what"].astype(str).tolist()
    assert (acts.count("began_two_steps"), acts.count("ended_two_steps")) == (2, 2)
