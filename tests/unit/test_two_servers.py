"""A browser sends one machine's cookies to every port of it: each server knows its own."""

from __future__ import annotations

from contextlib import ExitStack

import pytest

from dashboard.app import create_app
from dashboard.config import DashboardConfig
from tests.signed_in import PASSWORD, Browser, clock, programme_file, record_of, store_url

__all__ = ["clock", "programme_file", "store_url"]


class OneBrowser(Browser):
    """A browser that visits two servers; the test client keeps one host's cookies together."""

    def at(self, app) -> OneBrowser:
        self.app, self.client.application = app, app.server
        return self


@pytest.fixture
def servers(store_url, clock):
    """Two servers of one store, on two ports."""
    with ExitStack() as ended:
        made = []
        for port in (8461, 8462):
            config = DashboardConfig(store_url=store_url, clock=clock, port=port)
            made.append(create_app(config))
            ended.callback(made[-1].service.close)
        yield made


def is_in(browser: OneBrowser, app) -> bool:
    return browser.at(app).get("/definitions").status_code == 200


def test_two_servers_on_one_machine_leave_each_others_sign_ins_alone(servers):
    first, second = servers
    browser = OneBrowser(first)
    assert browser.sign_in("manager").status_code == 303
    assert not is_in(browser, second)
    assert browser.sign_in("educator").status_code == 303
    assert is_in(browser, second)
    assert is_in(browser, first)
    assert "manager" in browser.at(first).get("/incoming/files").text
    token = browser.at(second).cookie("_csrf_token_8462")
    assert browser.post("/sign-out", {"csrf_token": token}).status_code == 303
    assert not is_in(browser, second)
    assert is_in(browser, first)


def test_a_sign_in_taken_to_another_server_opens_nothing(servers):
    first, second = servers
    browser = OneBrowser(first)
    browser.sign_in("manager")
    held = browser.cookie("linedays_sign_in_8461")
    assert held
    browser.client.set_cookie("linedays_sign_in_8462", held, domain="127.0.0.1")
    assert not is_in(browser, second)
    assert is_in(browser, first)


def test_one_wrong_password_and_hundreds_differ_in_the_record(servers, clock):
    people = servers[0].service.store.people
    for _ in range(200):
        people.sign_in("manager", "wrong", "10.0.0.7", clock())
    people.sign_in("educator", "wrong", "10.0.0.8", clock())
    for number in range(20):
        people.sign_in(f"guess{number}", "wrong", "10.0.0.9", clock())
    record = people.accesses()
    refused = record[record["what"] == "sign_in_refused"]
    about = dict(zip(refused["about"], refused["who"].astype("object"), strict=True))
    assert about["10.0.0.7: 200 tries"] == "manager"
    assert about["10.0.0.8: 1 try"] == "educator"
    assert "10.0.0.9, unknown code: 20 tries" in about
    assert len(refused) < 30
    assert people.sign_in("educator", PASSWORD, "10.0.0.7", clock()).token is not None


def test_open_sign_ins_are_listed_and_ended_one_by_one_or_all(servers, clock):
    app = servers[0]
    browser, other = Browser(app), Browser(app)
    browser.sign_in("manager")
    clock.move(minutes=5)
    other.sign_in("manager")
    people = app.service.store.people
    newest, oldest = people.open_sign_ins(clock(), "manager")
    assert newest.began_at > oldest.began_at
    assert (newest.address, newest.server) == ("127.0.0.1", "port 8461")
    people.end_sign_ins("manager", clock(), by="command line", number=newest.number)
    assert other.get("/").status_code == 303
    assert browser.get("/").status_code == 200
    assert [s.number for s in people.open_sign_ins(clock())] == [oldest.number]
    people.end_sign_ins("manager", clock(), by="command line")
    assert browser.get("/").status_code == 303
    assert people.open_sign_ins(clock()) == []
    assert record_of(app)[-1][:2] == ("command line", "ended_sign_ins")
