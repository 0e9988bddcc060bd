"""Does the dashboard answer its own pages on its own address, and nobody else?"""

from __future__ import annotations

import logging
import re
from typing import Any

import pytest
from dash import Dash

from analysis.store import StoreError
from analysis.store.database import Database
from analysis.store.sign_in_file import SignInFile
from dashboard.calls.queries import CallsQueries
from dashboard.config import DashboardConfig, Web
from dashboard.processes import by_default
from dashboard.serving import ServeError, serve
from dashboard.settings import SettingsError
from tests.signed_in import HOST, Browser, app, browser_of, clock, programme_file, store_url
from tests.signed_in import page_request as request_of

__all__ = ["app", "clock", "programme_file", "store_url"]

OWN = {"Host": HOST}


@pytest.fixture(name="client")
def _client(app: Dash):
    with browser_of(app, "manager").client as client:
        yield client


def page_request(app: Dash) -> dict[str, Any]:
    """What a browser sends to have the call list drawn."""
    return request_of("/")


def ask(client, body, **headers: str):
    return client.post("/_dash-update-component", json=body, headers={**OWN, **headers})


def headers_of(client, path: str):
    with client.get(path, headers=OWN) as answer:  # a file's answer holds the file open
        return answer.headers


def token(client) -> str:
    client.get("/", headers=OWN)
    return client.get_cookie("_csrf_token", domain="127.0.0.1").value


@pytest.mark.parametrize("host", ["127.0.0.1:8461", "localhost:8461", "[::1]:8461", "localhost"])
def test_own_addresses_are_answered(app, host):
    assert Browser(app).client.get("/sign-in", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["example.org", "example.org:8461", "127.0.0.1.example.org", "10.0.0.5:8461", "[bad"]
)
@pytest.mark.parametrize("path", ["/", "/_dash-layout", "/assets/linedays.css", "/family/F1"])
def test_a_foreign_name_for_this_machine_is_refused_on_every_path(client, host, path):
    assert client.get(path, headers={"Host": host}).status_code == 403


def test_a_callback_needs_the_token_of_its_page(app, client):
    body = page_request(app)
    good = token(client)
    assert ask(client, body).status_code == 400
    assert ask(client, body, **{"X-CSRFToken": "forged"}).status_code == 400
    assert ask(client, body, **{"X-CSRFToken": good}).status_code == 200


def test_a_token_without_its_session_is_refused(app, client):
    good = token(client)
    sign_in = client.get_cookie("linedays_sign_in", domain="127.0.0.1").value
    with app.server.test_client() as stranger:
        assert ask(stranger, page_request(app), **{"X-CSRFToken": good}).status_code == 401
        stranger.set_cookie("linedays_sign_in", sign_in, domain="127.0.0.1")
        assert ask(stranger, page_request(app), **{"X-CSRFToken": good}).status_code == 400


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "http://example.org"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "null"},
    ],
)
def test_a_request_from_another_site_is_refused_even_with_a_token(app, client, headers):
    sent = {"X-CSRFToken": token(client), **headers}
    assert ask(client, page_request(app), **sent).status_code == 403


def test_a_request_from_the_own_page_is_answered(app, client):
    sent = {
        "X-CSRFToken": token(client),
        "Origin": f"http://{HOST}",
        "Sec-Fetch-Site": "same-origin",
    }
    assert ask(client, page_request(app), **sent).status_code == 200


def _other(body: dict[str, Any], **changed: Any) -> dict[str, Any]:
    return {**body, **changed}


@pytest.mark.parametrize(
    "spoil",
    [
        lambda body: _other(body, output="nothing.children"),
        lambda body: _other(body, output=["page.children"]),
        lambda body: _other(body, inputs=[]),
        lambda body: _other(
            body, inputs=[{"id": "record-call", "property": "n_clicks", "value": 1}]
        ),
        lambda body: _other(body, inputs="all"),
        lambda body: _other(body, state=[{"id": "url", "property": "hash", "value": ""}]),
        lambda body: [body],
        lambda body: "text",
    ],
)
def test_a_request_that_names_nothing_offered_gets_one_sentence(app, client, spoil):
    answer = ask(client, spoil(page_request(app)), **{"X-CSRFToken": token(client)})
    assert answer.status_code == 400
    assert answer.mimetype == "text/plain"
    assert "Traceback" not in answer.text


def test_every_callback_refuses_a_page_without_a_token(app, client):
    names = list(app.callback_map)
    assert len(names) >= 5
    for name in names:
        body = {"output": name, "inputs": [], "state": [], "changedPropIds": []}
        assert ask(client, body).status_code == 400, name


def test_no_callback_writes_on_a_get(app, client):
    for path in ("/_dash-update-component", "/?made-by=N1", "/family/F1"):
        client.get(path, headers=OWN)
    assert len(app.service.snapshot(None).records.calls) == 0


def test_every_answer_carries_the_hardening_headers(client):
    for path in ("/", "/_dash-layout", "/_dash-dependencies", "/nowhere", "/assets/linedays.css"):
        headers = headers_of(client, path)
        assert headers["X-Content-Type-Options"] == "nosniff", path
        assert headers["X-Frame-Options"] == "DENY"
        assert headers["Referrer-Policy"] == "same-origin"
        policy = headers["Content-Security-Policy"]
        assert "default-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe-eval" not in policy
        assert "'unsafe-inline'" not in re.search(r"script-src [^;]*", policy)[0]
        assert "http" not in policy
        assert "object-src 'none'; base-uri 'none'" in policy
        assert "Access-Control-Allow-Origin" not in headers


def test_no_request_is_sent_back_as_it_came(client):
    answer = client.open("/definitions", method="TRACE", headers={**OWN, "X-Secret": "seen"})
    assert answer.status_code in {400, 403, 405}
    assert "seen" not in answer.text


def test_pages_with_data_are_kept_nowhere_and_program_files_may_be(client):
    assert headers_of(client, "/")["Cache-Control"] == "no-store"
    assert headers_of(client, "/_dash-layout")["Cache-Control"] == "no-store"
    assert headers_of(client, "/assets/linedays.css")["Cache-Control"] != "no-store"


def test_a_program_file_is_asked_for_again_unless_its_address_names_when_it_was_written(client):
    page = client.get("/", headers=OWN).text
    versioned = re.search(r"/assets/linedays\.css\?m=[\d.]+", page)[0]
    assert headers_of(client, versioned)["Cache-Control"] == "max-age=86400, immutable"
    assert headers_of(client, "/assets/linedays.css")["Cache-Control"] == "no-cache"
    assert "Cache-Control" not in headers_of(client, "/assets/nothing.css?m=1")
    assert headers_of(client, "/?m=1")["Cache-Control"] == "no-store"


def test_session_cookies_do_not_travel_to_other_sites(client):
    set_cookies = client.get("/", headers=OWN).headers.getlist("Set-Cookie")
    client.delete_cookie("linedays_session", domain="127.0.0.1")
    set_cookies += client.get("/", headers=OWN).headers.getlist("Set-Cookie")
    assert all("SameSite=Strict" in cookie for cookie in set_cookies)
    session = next(c for c in set_cookies if c.startswith("linedays_session="))
    assert "HttpOnly" in session


def test_the_first_bytes_hold_no_family_and_escape_the_address(app, client):
    text = client.get("/family/<script>alert(1)</script>", headers=OWN).text
    assert "<script>alert" not in text
    assert "<title>Page not found · linedays</title>" in text
    assert "<title>Family F1 · linedays</title>" in client.get("/family/F1", headers=OWN).text
    assert '<html lang="en">' in text
    assert "http://" not in text
    assert "https://" not in text


@pytest.mark.parametrize(
    "path",
    [
        "/_dash-component-suites/dash/../../etc/passwd",
        "/_dash-component-suites/nothing/at_all.js",
        "/assets/../config.py",
        "/_favicon.ic",
    ],
)
def test_files_outside_the_program_are_not_found(client, path):
    answer = client.get(path, headers=OWN)
    assert answer.status_code in {200, 404}
    assert "root:" not in answer.text
    assert "DashboardConfig" not in answer.text
    if answer.status_code == 404:
        assert "Traceback" not in answer.text


def test_there_is_no_model_protocol_and_no_developer_tool(app, client):
    rules = {str(rule) for rule in app.server.url_map.iter_rules()}
    assert not any("mcp" in rule for rule in rules)
    assert app.server.debug is False
    assert client.get("/_dash-layout", headers=OWN).text.count("validation") == 0
    config = re.search(r'<script id="_dash-config"[^>]*>([^<]*)', client.get("/", headers=OWN).text)
    assert '"ui":false' in config[1]
    assert '"hot_reload"' not in config[1]


def test_a_fault_is_told_in_a_sentence_and_logged_without_what_it_was_about(
    app, client, monkeypatch, caplog
):
    secret = "call the grandmother on 555-0101"

    def broken(*_: object) -> None:
        raise ValueError(secret)

    monkeypatch.setattr(CallsQueries, "calls", broken)
    with caplog.at_level(logging.DEBUG):
        answer = ask(client, page_request(app), **{"X-CSRFToken": token(client)})
    assert answer.status_code == 500
    assert answer.text == "Something went wrong in the program. Reload the page.\n"
    assert "ValueError" in caplog.text
    assert secret not in caplog.text
    assert "555" not in caplog.text


def test_a_store_that_cannot_be_written_is_reported_in_a_sentence_and_signing_out_still_works(
    app, monkeypatch, caplog
):
    browser = browser_of(app, "manager")
    cookie = browser.client.get_cookie("linedays_sign_in", domain="127.0.0.1").value
    csrf = token(browser.client)
    full = "The disk that holds the store is full."

    def start(*_: object) -> None:
        raise StoreError(full)

    with monkeypatch.context() as disk:
        for kind in (Database, SignInFile):
            disk.setattr(kind, "start", start)
        page = browser.client.get("/family/F1", headers=OWN)
        assert browser.client.get("/", headers=OWN).status_code == 200
        answer = ask(browser.client, request_of("/family/F1"), **{"X-CSRFToken": csrf})
        out = browser.client.post("/sign-out", data={"csrf_token": csrf}, headers=OWN)
    assert (answer.status_code, answer.text) == (503, f"{full}\n")
    assert page.status_code == 200  # the frame of the page; what it shows is asked for by itself
    assert out.status_code == 303
    assert full in caplog.text
    browser.client.set_cookie("linedays_sign_in", cookie, domain="127.0.0.1")
    assert browser.client.get("/", headers=OWN).headers["Location"] == "/sign-in"


def test_a_page_that_cannot_read_the_store_says_so_and_asks_again(app, client, monkeypatch):
    def out_of_reach(*_: object) -> None:
        raise StoreError("The database server can't be reached.")

    with monkeypatch.context() as down:
        for way in ("reading", "ask"):
            down.setattr(SignInFile, way, out_of_reach)
        answer = client.get("/", headers=OWN)
    assert answer.status_code == 503
    assert "The database server can&#39;t be reached." in answer.text
    assert answer.headers["Refresh"] == "10"
    assert client.get("/", headers=OWN).status_code == 200


def test_a_long_body_is_refused(app, client):
    body = _other(
        page_request(app), state=[{"id": "url", "property": "search", "value": "x" * 2_000_000}]
    )
    assert ask(client, body, **{"X-CSRFToken": token(client)}).status_code == 413


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.4", "::", "somewhere"])
def test_only_the_own_machine_is_served_where_passwords_are_not_encrypted(tmp_path, host):
    url = f"sqlite:///{tmp_path / 'none.sqlite'}"
    with pytest.raises(SettingsError, match="unencrypted"):
        serve(DashboardConfig(store_url=url, web=Web(address=host, port=0)))


def test_a_port_in_use_is_told_in_a_sentence(store_url):
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(ServeError, match=f"Port {port} .*another program may use it"):
            serve(DashboardConfig(store_url=store_url, web=Web(port=port)))


def test_where_a_process_cannot_be_forked_one_alone_is_served(store_url, monkeypatch):
    monkeypatch.setattr("dashboard.processes.CAN_FORK", False)
    monkeypatch.setattr("dashboard.serving.CAN_FORK", False)
    assert by_default() == 1
    with pytest.raises(ServeError, match="leave --processes out"):
        serve(DashboardConfig(store_url=store_url, web=Web(port=0)), processes=2)


@pytest.mark.parametrize(("cores", "processes"), [(1, 1), (2, 2), (4, 4), (64, 4)])
def test_a_process_a_core_answers_but_not_too_many(monkeypatch, cores, processes):
    monkeypatch.setattr("dashboard.processes._cores", lambda: cores)
    monkeypatch.setattr("dashboard.processes.sys.platform", "linux")
    assert by_default() == processes


def test_the_files_of_pages_are_known_before_the_first_request(app):
    # Else a process that has shown no page yet sends a browser none of them.
    assert "dash-renderer/build/dash_renderer.min.js" in app.registered_paths["dash"]
    assert "deps/react-dom@18.3.1.min.js" in app.registered_paths["dash"]
    assert "package_data/plotly.min.js" in app.registered_paths["plotly"]
