"""Two-step sign-in: a password alone lets nobody in, a code counts once, and a lost phone is no end."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from pathlib import Path

import pyotp
import pytest
import sqlalchemy as sa

from analysis.store import Store, StoreError
from analysis.store.schema import second_factors
from analysis.store.second_factor import STEP_SECONDS
from analysis.vocabulary import Role
from dashboard.app import create_app
from dashboard.config import DashboardConfig, Web
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


def stored_secrets(url: str) -> dict[str, str]:
    query = sa.select(second_factors.c.code, second_factors.c.secret)
    with sa.create_engine(url).connect() as connection:
        return dict(connection.execute(query).all())


def test_who_has_the_store_but_not_the_key_file_has_no_secret(app, clock, store_url, tmp_path):
    phone, codes = set_up(browser_of(app, "N1"), clock)
    key_file = tmp_path / "second-factors.key"
    assert key_file.stat().st_mode & 0o777 == 0o600
    app.service.store.backup(tmp_path / "taken.zip")
    (tmp_path / "other").mkdir()
    with Store.restored(f"sqlite:///{tmp_path}/other/taken.sqlite", tmp_path / "taken.zip"):
        found = stored_secrets(f"sqlite:///{tmp_path}/other/taken.sqlite")
    assert list(found) == ["N1"]
    assert phone.totp.secret not in found["N1"]
    files = [file for file in tmp_path.rglob("*") if file.is_file()]
    assert [f.name for f in files if phone.totp.secret.encode() in f.read_bytes()] == []
    key_file.rename(tmp_path / "elsewhere.key")
    clock.move(seconds=60)
    person = after_password(app)
    answer = second_step(person, phone.code())
    assert answer.status_code == 503
    assert "is missing or is not the key" in answer.text
    assert second_step(person, codes[0]).status_code == 303
    (tmp_path / "elsewhere.key").rename(key_file)
    assert second_step(after_password(app), phone.code()).status_code == 303


def test_a_secret_works_in_the_row_of_its_own_user_alone(app, clock, store_url):
    phone, _ = set_up(browser_of(app, "N1"), clock)
    set_up(browser_of(app, "educator"), clock)
    secrets = stored_secrets(store_url)
    change = sa.update(second_factors).where(second_factors.c.code == "educator")
    with sa.create_engine(store_url).begin() as connection:
        connection.execute(change.values(secret=secrets["N1"]))
    clock.move(seconds=60)
    with pytest.raises(StoreError, match="not the key"):
        app.service.store.people.sign_in_with_code("educator", phone.code(), "", clock())


def test_secrets_that_an_earlier_version_stored_as_they_are_become_encrypted(
    app, clock, store_url, tmp_path
):
    phone, _ = set_up(browser_of(app, "N1"), clock)
    with sa.create_engine(store_url).begin() as connection:
        connection.execute(sa.update(second_factors).values(secret=phone.totp.secret))
    key_file = tmp_path / "keys" / "factors.key"
    key_file.parent.mkdir()
    web = Web(second_factor_key=key_file)
    later = create_app(DashboardConfig(store_url=store_url, clock=clock, web=web))
    assert phone.totp.secret not in stored_secrets(store_url)["N1"]
    assert key_file.exists()
    clock.move(seconds=60)
    assert second_step(after_password(later), phone.code()).status_code == 303
    later.service.close()
    assert phone.totp.secret.encode() not in Path(tmp_path / "programme.sqlite").read_bytes()


def test_a_role_of_which_it_is_demanded_sets_it_up_first(app, clock):
    config = app.service.config
    person = browser_of(app, "manager")
    app.service.config = replace(config, web=Web(two_steps_for=(Role.MANAGER,)))
    assert browser_of(app, "N1").get("/").status_code == 200
    for path in ("/", "/rates", "/incoming/files", "/family/F1"):
        assert person.get(path).headers["Location"] == "/account", path
    assert person.page("/").status_code == 403
    assert "Set it up here" in person.get("/account").text
    phone, _ = set_up(person, clock)
    assert person.get("/").status_code == 200
    assert person.page("/").status_code == 200
    answer = send(person, "end", present=PASSWORD)
    assert answer.status_code == 422
    assert "cannot be ended here" in answer.text
    assert "End two-step sign-in" not in person.get("/account").text
    clock.move(seconds=60)
    again = Browser(app)
    assert again.sign_in("manager").headers["Location"].startswith("/sign-in/code")
    assert second_step(again, phone.code()).status_code == 303
