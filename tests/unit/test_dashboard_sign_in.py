"""Nobody sees anything without signing in; a sign-in ends; passwords are not to be guessed."""

from __future__ import annotations

import logging
import re
from pathlib import Path

import pytest

from analysis.store import Store, StoreError
from dashboard.app import create_app
from dashboard.config import DashboardConfig, Web
from dashboard.security.csrf import needs_secure
from dashboard.security.sign_in import safe_way
from dashboard.serving import ServeError, serve
from tests.signed_in import (
    HOST,
    PASSWORD,
    Browser,
    app,
    browser,
    browser_of,
    clock,
    page_request,
    programme_file,
    record_of,
    store_url,
)

__all__ = ["app", "browser", "clock", "programme_file", "store_url"]

DATA = re.compile(r"F[123]\b|C[123]\b|L[123]\b|North|South|ward phone")


@pytest.mark.parametrize(
    "path",
    ["/", "/definitions", "/record", "/family/F1", "/family/none", "/nowhere", "/?family=F1"],
)
def test_a_stranger_who_asks_for_a_page_is_sent_to_sign_in(browser, path):
    answer = browser.get(path)
    assert answer.status_code == 303
    assert answer.headers["Location"].startswith("/sign-in")
    assert "F1" not in answer.text.replace("%2Ffamily%2FF1", "").replace("family%3DF1", "")


@pytest.mark.parametrize(
    "path",
    [
        "/_dash-layout",
        "/_dash-dependencies",
        "/_reload-hash",
        "/_dash-component-suites/dash/dcc/dash_core_components.js",
        "/_anything",
    ],
)
def test_a_stranger_gets_no_part_of_a_page(browser, path):
    answer = browser.get(path)
    assert answer.status_code == 401
    assert answer.text == "Your sign-in has ended. Sign in again.\n"


def test_a_stranger_gets_no_answer_from_any_callback(app, browser):
    browser.get("/sign-in")
    for output in app.callback_map:
        body = {"output": output, "inputs": [], "state": [], "changedPropIds": []}
        assert browser.ask(body).status_code == 401, output
    assert browser.page("/").status_code == 401
    assert browser.client.post("/_dash-update-component", headers={"Host": HOST}).status_code == 401


def test_the_page_to_sign_in_holds_no_data_and_carries_the_cautions(browser):
    answer = browser.get("/sign-in")
    assert answer.status_code == 200
    assert not DATA.search(answer.text)
    assert "does not diagnose" in answer.text
    assert "http://" not in answer.text
    assert "<script" not in answer.text
    assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
    assert answer.headers["Cache-Control"] == "no-store"
    with browser.get("/assets/linedays.css") as style:
        assert style.status_code == 200


def test_somebody_who_signs_in_goes_on_to_the_page_asked_for(browser):
    way = browser.get("/family/F1?time=all").headers["Location"]
    assert way == "/sign-in?to=%2Ffamily%2FF1%3Ftime%3Dall"
    assert 'name="to" value="/family/F1?time=all"' in browser.get(way).text
    answer = browser.sign_in("manager", to="/family/F1?time=all")
    assert answer.headers["Location"] == "/family/F1?time=all"
    assert browser.get("/family/F1?time=all").status_code == 200
    assert browser.page("/family/F1").status_code == 200
    assert browser.get("/sign-in").status_code == 303


@pytest.mark.parametrize(
    "to",
    [
        "https://example.org/",
        "//example.org",
        "/\\example.org",
        "\\\\example.org",
        "javascript:alert(1)",
        "/sign-out",
        "/sign-in",
        "/a\r\nSet-Cookie: x=1",
        "",
    ],
)
def test_the_way_on_never_leads_elsewhere(browser, to):
    assert safe_way(to) == "/"
    assert browser.sign_in("manager", to=to).headers["Location"] == "/"


@pytest.mark.parametrize(
    ("code", "password"),
    [("manager", "kettle orbit maple eight"), ("nobody", PASSWORD), ("", ""), ("manager", "")],
)
def test_a_wrong_password_and_an_unknown_person_get_the_same_answer(browser, code, password):
    answer = browser.sign_in(code, password)
    assert answer.status_code == 401
    assert "Wrong code or password" in answer.text
    assert browser.cookie("linedays_sign_in") is None
    if password:
        assert password not in answer.text


def test_a_sign_in_without_the_token_of_its_page_is_refused(app, browser):
    good = browser.form_token()
    form = {"code": "manager", "password": PASSWORD, "to": "/"}
    for token in ("", "forged"):
        answer = browser.post("/sign-in", {**form, "csrf_token": token})
        assert answer.headers["Location"] == "/sign-in?old=1"
    assert Browser(app).post("/sign-in", {**form, "csrf_token": good}).status_code == 303
    assert browser.cookie("linedays_sign_in") is None
    assert "out of date" in browser.get("/sign-in?old=1").text
    elsewhere = browser.post("/sign-in", {**form, "csrf_token": good}, Origin="http://example.org")
    assert elsewhere.status_code == 403
    assert record_of(app)[-1][1] == "added_user"


def test_cookies_are_hidden_from_scripts_and_stay_on_this_site(browser):
    cookies = browser.sign_in("manager").headers.getlist("Set-Cookie")
    signed = next(c for c in cookies if c.startswith("linedays_sign_in="))
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(signed.split("; "))
    assert "Secure" not in signed
    assert "Expires" not in signed  # gone when the browser is closed
    for cookie in browser.get("/").headers.getlist("Set-Cookie"):
        assert "SameSite=Strict" in cookie


def test_cookies_travel_only_encrypted_but_on_this_machine(app):
    for address, secure in (
        ("http://127.0.0.1:8461", False),
        ("http://localhost:8461", False),
        ("https://127.0.0.1:8461", True),
        ("http://example.org", True),
    ):
        with app.server.test_request_context("/", base_url=address):
            assert needs_secure() is secure
    client = app.server.test_client()
    page = client.get("/sign-in", base_url=f"https://{HOST}")
    assert all("Secure" in c for c in page.headers.getlist("Set-Cookie"))
    token = re.search(r'name="csrf_token" value="([^"]+)"', page.text)[1]
    form = {"code": "manager", "password": PASSWORD, "csrf_token": token}
    answer = client.post("/sign-in", data=form, base_url=f"https://{HOST}")
    assert answer.status_code == 303
    assert all("Secure" in c for c in answer.headers.getlist("Set-Cookie"))


def test_a_cookie_kept_from_before_signing_out_opens_nothing(app):
    person = browser_of(app, "manager")
    kept = person.cookie("linedays_sign_in")
    csrf, session = person.cookie("_csrf_token"), person.cookie("linedays_session")
    answer = person.sign_out()
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    assert person.cookie("linedays_sign_in") is None
    thief = Browser(app)
    for name, value in (
        ("linedays_sign_in", kept),
        ("_csrf_token", csrf),
        ("linedays_session", session),
    ):
        thief.client.set_cookie(name, value, domain="127.0.0.1")
    assert thief.page("/").status_code == 401
    assert thief.get("/_dash-layout").status_code == 401
    assert thief.get("/").status_code == 303


def test_signing_out_needs_the_token_of_the_page(app):
    person = browser_of(app, "manager")
    assert person.post("/sign-out", {}).status_code == 400
    assert person.get("/sign-out").status_code == 404
    assert person.page("/").status_code == 200


def test_signing_in_renews_the_session_and_ends_the_one_before(app):
    person = Browser(app)
    person.get("/sign-in")
    planted = person.cookie("linedays_session")
    assert person.sign_in("manager").status_code == 303
    first = person.cookie("linedays_sign_in")
    person.get("/definitions")
    assert person.cookie("linedays_session") != planted
    assert person.page("/").status_code == 200
    # The form of another tab, left open from before, is sent a second time.
    form = {"code": "manager", "password": PASSWORD, "csrf_token": person.cookie("_csrf_token")}
    assert person.post("/sign-in", form).status_code == 303
    assert person.cookie("linedays_sign_in") != first
    with_old = Browser(app)
    with_old.client.set_cookie("linedays_sign_in", first, domain="127.0.0.1")
    assert with_old.get("/").status_code == 303


def test_the_first_callback_after_signing_in_is_answered(app):
    person = Browser(app)
    person.sign_in("manager")
    person.get("/")
    assert person.page("/").status_code == 200


def test_a_sign_in_that_nobody_uses_ends_and_says_so(app, clock):
    person = browser_of(app, "manager")
    clock.move(minutes=29)
    assert person.page("/").status_code == 200
    clock.move(minutes=29)
    assert person.page("/").status_code == 200
    clock.move(minutes=31)
    answer = person.page("/")
    assert (answer.status_code, answer.text) == (401, "Your sign-in has ended. Sign in again.\n")
    assert person.get("/").status_code == 303
    assert "has ended" in person.get("/sign-in").text


def test_an_ended_sign_in_is_told_before_a_missing_token(app, clock):
    person = browser_of(app, "manager")
    clock.move(minutes=31)
    assert person.ask(page_request("/"), **{"X-CSRFToken": "forged"}).status_code == 401


def test_a_page_that_asks_by_itself_does_not_keep_a_sign_in_open(app, clock):
    person = browser_of(app, "manager")
    for changed in (["looked.data"], ["poll.n_intervals"], [], ["looked.data", "x.n_intervals"]):
        clock.move(minutes=7)
        body = {**page_request("/"), "changedPropIds": changed}
        assert person.ask(body).status_code == 200
        assert person.get("/_dash-layout").status_code == 200
    clock.move(minutes=3)
    assert person.page("/").status_code == 401


def test_a_sign_in_ends_after_its_whole_time_however_much_it_is_used(app, clock):
    person = browser_of(app, "manager")
    for _ in range(28):
        clock.move(minutes=25)
        assert person.page("/").status_code == 200
    clock.move(minutes=25)
    assert person.page("/").status_code == 401


def test_a_person_who_is_ended_or_gets_a_new_password_is_out_at_once(app, clock):
    for code, act in (
        ("manager", lambda people: people.end("manager", clock(), by="command line")),
        (
            "educator",
            lambda people: people.set_password("educator", PASSWORD, clock(), by="command line"),
        ),
    ):
        person = browser_of(app, code)
        act(app.service.store.people)
        assert person.page("/definitions").status_code == 401
    assert Browser(app).sign_in("manager").status_code == 401
    assert Browser(app).sign_in("educator").status_code == 303


def test_wrong_passwords_make_the_next_attempt_wait_longer_and_longer(app, browser, clock):
    for _ in range(5):
        assert browser.sign_in("manager", "not the password at all").status_code == 401
    answer = browser.sign_in("manager")
    assert answer.status_code == 429
    assert "Wait 30 seconds" in answer.text
    assert answer.headers["Retry-After"] == "30"
    clock.move(seconds=31)
    assert browser.sign_in("manager", "not the password at all").status_code == 401
    clock.move(seconds=31)
    assert browser.sign_in("manager").status_code == 429
    assert Browser(app).sign_in("educator").status_code == 303  # nobody else has to wait
    clock.move(seconds=30)
    assert browser.sign_in("manager").status_code == 303
    assert record_of(app)[-2:] == [("educator", "signed_in", None), ("manager", "signed_in", None)]


def test_passwords_and_tokens_are_in_no_log_and_not_in_the_store(app, clock, caplog, store_url):
    secret = "the wrong words entirely"
    with caplog.at_level(logging.DEBUG):
        person = Browser(app)
        person.sign_in("manager", secret)
        person.sign_in(secret, secret)  # typed into the wrong field
        person.sign_in("manager")
        person.get("/")
        person.page("/")
        token = person.cookie("linedays_sign_in")
    place = Path(app.service.store.place)
    stored = b"".join(file.read_bytes() for file in place.parent.glob(f"{place.name}*"))
    for hidden in (PASSWORD, secret, token):
        assert hidden not in caplog.text
        assert hidden.encode() not in stored
    assert b"$argon2id$" in stored


def test_the_demo_signs_in_by_itself_and_says_so(tmp_path, store_url):
    url = f"sqlite:///{tmp_path / 'demo.sqlite'}"
    Store.open(url).close()
    demo = create_app(DashboardConfig(store_url=url, demo=True))
    person = Browser(demo)
    assert person.get("/").status_code == 200
    said = person.page("/").text
    assert "You are signed in as demo, nurse manager." in said
    assert "Sign out" not in said
    assert person.get("/sign-in").status_code == 303
    demo.service.close()
    with pytest.raises(StoreError, match="cannot be shown as a demo"):
        create_app(DashboardConfig(store_url=store_url, demo=True))


def test_a_store_to_which_nobody_can_sign_in_is_not_served(tmp_path):
    url = f"sqlite:///{tmp_path / 'empty.sqlite'}"
    Store.open(url).close()
    with pytest.raises(ServeError, match="linedays user add N1 --role manager"):
        serve(DashboardConfig(store_url=url, web=Web(port=0)))
