"""The hospital's own sign-in: code flow with PKCE, groups to roles and sites, sign-out, skew, new keys."""

from __future__ import annotations

import base64
import hashlib
import re
from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
import requests

from analysis.vocabulary import Role
from dashboard.app import create_app
from dashboard.config import DashboardConfig, Web
from dashboard.provider import Group, Provider, SettingsError
from dashboard.settings import read_settings
from tests.openid_provider import PEOPLE, Running
from tests.signed_in import HOST, Browser, programme_file, record_of, store_url

__all__ = ["programme_file", "store_url"]

# The provider runs in this process, and its libraries warn about their next versions.
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")

GROUPS = (Group("managers", Role.MANAGER), Group("nurses-north", Role.NURSE, ("North",)))


@pytest.fixture(scope="module")
def provider():
    made = Running()
    yield made
    made.close()


class Clock:
    def __init__(self) -> None:
        self.ahead = timedelta()

    def __call__(self) -> datetime:
        return datetime.fromtimestamp(datetime.now(UTC).timestamp(), UTC) + self.ahead  # noqa: TID251


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def app(store_url, provider, clock, tmp_path):
    secret = tmp_path / "openid.secret"
    secret.write_text("a secret of the tests\n")
    web = Web(provider=Provider(provider.address, "linedays", GROUPS, secret, name="the hospital"))
    made = create_app(DashboardConfig(store_url=store_url, clock=clock, web=web))
    yield made
    made.service.close()


def at_provider(person: Browser, subject: str) -> str:
    """Go there and sign in; returns where the provider sends the browser."""
    page = person.get("/sign-in").text
    assert "Sign in with the hospital" in page
    way = person.get("/sign-in/provider?to=/definitions").headers["Location"]
    answer = requests.post(way, data={"sub": subject}, allow_redirects=False, timeout=30)
    return answer.headers["Location"]


def come_back(person: Browser, way: str):
    parts = urlsplit(way)
    assert parts.netloc == HOST
    return person.get(f"{parts.path}?{parts.query}")


def sign_in(person: Browser, subject: str):
    return come_back(person, at_provider(person, subject))


def test_a_nurse_comes_in_with_the_role_and_site_of_her_group(app, provider):
    person = Browser(app)
    answer = sign_in(person, "s-1")
    assert answer.status_code == 200
    assert 'content="0;url=/definitions"' in answer.text
    assert "Strict" in answer.headers["Set-Cookie"]
    assert person.get("/definitions").status_code == 200
    assert person.get("/rates").status_code == 403
    (user,) = [u for u in app.service.store.people.all() if u.code == "ward.nurse"]
    assert (user.role, user.sites) == (Role.NURSE, ("North",))
    assert ("ward.nurse", "signed_in", None) in record_of(app)
    shown = person.get("/account").text
    assert "kept by the hospital" in shown
    assert "Change password" not in shown
    for typed in ("", "the hash of nobody's password"):
        assert Browser(app).sign_in("ward.nurse", typed).status_code == 401


def test_the_flow_is_bound_to_the_browser_by_a_proof_key_and_a_state(app, provider):
    person = Browser(app)
    way = person.get("/sign-in/provider").headers["Location"]
    asked = {name: values[0] for name, values in parse_qs(urlsplit(way).query).items()}
    assert asked["response_type"] == "code"
    assert asked["code_challenge_method"] == "S256"
    back = requests.post(way, data={"sub": "s-1"}, allow_redirects=False, timeout=30)
    assert come_back(Browser(app), back.headers["Location"]).status_code == 400
    forged = re.sub(r"state=[^&]+", "state=forged", back.headers["Location"])
    assert come_back(person, forged).status_code == 401
    assert person.get("/definitions").status_code == 303
    assert sign_in(person, "s-1").status_code == 200
    verifier = provider.asked[-1]["code_verifier"].encode()
    assert len(verifier) >= 43
    digest = base64.urlsafe_b64encode(hashlib.sha256(verifier).digest()).rstrip(b"=").decode()
    assert digest != asked["code_challenge"]  # a new one each time


@pytest.mark.parametrize(
    ("subject", "sentence"),
    [
        ("s-2", "None of your groups may use linedays."),
        ("s-3", "manager is the code of another account here."),
        ("s-5", "states no staff code"),
    ],
)
def test_who_may_not_use_it_gets_a_sentence(app, subject, sentence):
    person = Browser(app)
    answer = sign_in(person, subject)
    assert answer.status_code == 401
    assert sentence in answer.text
    assert person.get("/definitions").status_code == 303


def test_one_persons_code_is_not_given_to_another_and_an_ended_one_stays_out(app):
    assert sign_in(Browser(app), "s-1").status_code == 200
    assert "another account" in sign_in(Browser(app), "s-4").text
    people, now = app.service.store.people, app.service.config.clock()
    people.end("ward.nurse", now, by="command line")
    assert "was ended here" in sign_in(Browser(app), "s-1").text


def test_a_changed_group_changes_the_role_with_the_next_sign_in(app, provider):
    assert sign_in(Browser(app), "s-1").status_code == 200
    claims = {**PEOPLE["s-1"], "groups": ["managers"]}
    requests.put(f"{provider.address}/users/s-1", json=claims, timeout=30)
    person = Browser(app)
    assert sign_in(person, "s-1").status_code == 200
    assert person.get("/rates").status_code == 200
    requests.put(f"{provider.address}/users/s-1", json=PEOPLE["s-1"], timeout=30)


def test_clocks_may_differ_by_a_minute_and_not_by_hours(app, clock):
    for minutes, status in ((-1, 200), (61, 200), (63, 401), (-10, 401)):  # it lasts an hour
        clock.ahead = timedelta(minutes=minutes)
        assert sign_in(Browser(app), "s-1").status_code == status, minutes


def test_a_new_key_of_the_provider_is_fetched_and_a_forged_one_refused(app, provider):
    assert sign_in(Browser(app), "s-1").status_code == 200
    provider.change_key()
    assert sign_in(Browser(app), "s-1").status_code == 200


def test_signing_out_leads_to_the_providers_page_for_it(app, provider):
    person = Browser(app)
    sign_in(person, "s-1")
    way = person.sign_out().headers["Location"]
    assert way.startswith(f"{provider.address}/oauth2/end_session?client_id=linedays")
    assert person.get("/definitions").status_code == 303
    policy = person.get("/sign-in").headers["Content-Security-Policy"]
    assert f"form-action 'self' {provider.address};" in policy
    local = Browser(app)
    local.sign_in("educator", "kettle orbit maple seven")
    assert local.sign_out().headers["Location"] == "/sign-in"


def test_a_provider_that_cannot_be_reached_leaves_local_accounts_working(store_url, clock):
    web = Web(provider=Provider("http://127.0.0.1:9", "linedays", GROUPS))
    app = create_app(DashboardConfig(store_url=store_url, clock=clock, web=web))
    answer = Browser(app).get("/sign-in/provider")
    assert answer.status_code == 503
    assert "cannot be reached" in answer.text
    assert Browser(app).sign_in("educator").status_code == 303
    app.service.close()


STATED = """
[provider]
issuer = "https://example.org/login"
client = "linedays"
secret_file = "openid.secret"
[[provider.groups]]
name = "line nurses"
role = "nurse"
sites = ["North"]
"""


@pytest.mark.parametrize("path", ["/.well-known/openid-configuration", "/oauth2/token"])
def test_a_provider_that_sends_elsewhere_is_not_followed(app, provider, path):
    provider.moved = path
    try:
        person = Browser(app)
        answer = person.get("/sign-in/provider?to=/definitions")
        if path == "/oauth2/token":
            answer = sign_in(person, "s-1")
    finally:
        provider.moved = None
    assert "cannot be reached" in answer.text or "not valid" in answer.text, answer.text
    assert person.get("/definitions").status_code == 303


@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        (("https://", "http://"), "issuer begins with https://"),
        (('"nurse"', '"surgeon"'), "a group has a name and a role of manager"),
        (("[[provider.groups]]", "[provider.group]"), "group is no setting"),
        (('client = "linedays"', ""), "client is missing"),
        (('["North"]', '"North"'), "sites is a list"),
    ],
)
def test_settings_of_a_provider_are_read_or_refused_with_a_sentence(tmp_path, spoil, sentence):
    file = tmp_path / "linedays.toml"
    file.write_text(STATED)
    found = read_settings(file).web.provider
    assert found.groups == (Group("line nurses", Role.NURSE, ("North",)),)
    assert found.secret_file == tmp_path / "openid.secret"
    file.write_text(STATED.replace(*spoil))
    with pytest.raises(SettingsError, match="provider") as fault:
        read_settings(file)
    assert sentence in str(fault.value)
