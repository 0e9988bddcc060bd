"""Another machine's browser reaches linedays through a proxy that encrypts."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Thread

import pytest
from playwright.sync_api import expect

from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.config import DashboardConfig, Web
from dashboard.provider import Group, Provider
from dashboard.setup import Proxy
from tests.browser.conftest import PASSWORD, PATIENCE
from tests.browser.small_programme import NOW
from tests.openid_provider import Running
from tests.ports import free_port
from tests.proxied import HOST, in_thread, proxied


@contextmanager
def another_program() -> Iterator[tuple[int, list[tuple[str, str | None]]]]:
    """A program at another port of the server's name: its port, and the cookies that it receives."""
    received: list[tuple[str, str | None]] = []

    class Recording(BaseHTTPRequestHandler):
        def do_GET(self):
            received.append((self.path, self.headers["Cookie"]))
            self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *words):
            pass

    with HTTPServer(("127.0.0.1", 0), Recording) as server:
        thread = Thread(target=server.serve_forever)
        thread.start()
        yield server.server_port, received
        server.shutdown()
        thread.join()


def test_a_nurse_at_another_desk_signs_in_works_and_signs_out(browser, store_file, tmp_path):
    url = f"sqlite:///{store_file}"
    with proxied(url, tmp_path, Proxy.NGINX, clock=lambda: NOW) as served:
        context = browser.new_context(ignore_https_errors=True)
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        troubles: list[str] = []
        page.on("pageerror", lambda fault: troubles.append(str(fault)))
        page.on("console", lambda m: troubles.append(m.text) if m.type == "error" else None)
        first = page.goto(served.address)
        assert first is not None
        assert first.headers["strict-transport-security"].startswith("max-age=")
        page.get_by_label("Your staff code").fill("N1")
        page.get_by_label("Password").fill(PASSWORD)
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", level=1)).to_contain_text("Calls for")
        cookies = context.cookies()
        assert len(cookies) == 3
        assert all(c["secure"] and c["name"].startswith("__Host-") for c in cookies)
        with another_program() as (port, received):
            other = context.new_page()
            other.goto(f"http://{HOST}:{port}/")
        other.close()
        assert received[0] == ("/", None)
        page.get_by_role("link", name="N1", exact=True).click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Your account")
        expect(page.get_by_text("this one")).to_be_visible()
        page.get_by_role("button", name="Sign out").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
        assert page.url.startswith(f"{served.address}/sign-in")
        context.close()
    assert troubles == []
    with Store.open(url) as store:
        newest = store.people.accesses(2)
    assert newest["what"].astype(str).tolist() == ["signed_out", "signed_in"]


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_browser_comes_back_from_the_hospitals_sign_in_on_another_site(
    browser, store_file, tmp_path
):
    (tmp_path / "secret").write_text("a secret of the tests")
    provider, port = Running("localhost"), free_port()
    groups = (Group("nurses-north", Role.NURSE, ("North",)),)
    known = Provider(provider.address, "linedays", groups, tmp_path / "secret", "the hospital")
    config = DashboardConfig(
        store_url=f"sqlite:///{store_file}", port=port, web=Web(port=port, provider=known)
    )
    context = browser.new_context()
    page = context.new_page()
    page.set_default_timeout(PATIENCE)
    try:
        with in_thread(config):
            page.goto(f"http://127.0.0.1:{port}/definitions")
            page.get_by_role("link", name="Sign in with the hospital").click()
            page.get_by_role("button", name="s-1", exact=True).click()
            expect(page.get_by_role("heading", level=1)).to_have_text("Definitions")
            expect(page.get_by_role("banner")).to_contain_text("Signed in: ward.nurse")
            page.get_by_role("button", name="Sign out").click()
            expect(page.get_by_role("heading", level=1)).to_have_text("End Session")
            assert page.url.startswith(provider.address)
            page.goto(f"http://127.0.0.1:{port}/definitions")
            expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
            context.close()
    finally:
        provider.close()
