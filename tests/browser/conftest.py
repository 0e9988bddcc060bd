"""The real dashboard on this machine, over a small store that a reader can check by hand."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import ClassVar
from urllib.parse import urljoin, urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect
from waitress.server import create_server

from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from tests import retrained
from tests.background import in_background
from tests.browser.larger_programmes import many_to_call, two_sites, two_types
from tests.browser.small_programme import NOW, fill, take_in_wrong_rows
from tests.signed_in import knows

PATIENCE = 30_000
"""Milliseconds to wait: a busy machine takes its time to load the figures' library."""
expect.set_options(timeout=PATIENCE)
PASSWORD = "kettle orbit maple seven"  # invented, for tests


@dataclass(frozen=True)
class Running:
    """A served dashboard: its address and the store behind it."""

    address: str
    store_url: str
    token: str = ""
    """What a browser shows in which a person of this store has signed in."""

    def records(self):
        """Everything stored."""
        with Store.open(self.store_url, create=False) as store:
            return store.records()


@pytest.fixture(scope="session")
def small_store(tmp_path_factory) -> Path:
    file = fill(tmp_path_factory.mktemp("small"))
    with Store.open(f"sqlite:///{file}") as store:
        for code, role in (("N1", Role.MANAGER), ("E1", Role.EDUCATOR)):
            store.people.add(code, PASSWORD, role, NOW, by="command line")
    return file


def token_of(store_file: Path, code: str) -> str:
    """Sign in; returns what the browser shows from then on. No copy of the store has sign-ins."""
    with Store.open(f"sqlite:///{store_file}") as store:
        found = store.people.sign_in(code, PASSWORD, "127.0.0.1", NOW).token
    assert found is not None
    return found


def signed_in(store_file: Path, code: str, role: Role) -> str:
    """Add a person and sign in."""
    with Store.open(f"sqlite:///{store_file}") as store:
        store.people.add(code, PASSWORD, role, NOW, by="command line")
    return token_of(store_file, code)


@contextmanager
def serving(
    store_file: Path, token: str = "", *, copy_of: Path | None = None, **settings
) -> Iterator[Running]:
    """Serve a store on a free port until the block ends.

    A copy of a store begins with what the dashboard of the first copy found in it.
    """
    url = f"sqlite:///{store_file}"
    app = create_app(DashboardConfig(store_url=url, clock=lambda: NOW, **settings))
    if copy_of is not None:
        knows(app.service, copy_of)
    # A reply of any size stays in memory: the server leaves its files open for the collector.
    server = create_server(
        app.server, host="127.0.0.1", port=0, threads=4, ident=None, outbuf_overflow=64 << 20
    )
    try:
        with in_background(server):
            yield Running(f"http://127.0.0.1:{server.effective_port}", url, token)
    finally:
        app.service.close()


@pytest.fixture
def store_file(small_store, tmp_path) -> Path:
    """A copy of the small store that a test may write to."""
    return Path(shutil.copy(small_store, tmp_path / "store.sqlite"))


@pytest.fixture
def token(store_file) -> str:
    """What a browser shows in which N1, a manager, has signed in."""
    return token_of(store_file, "N1")


@pytest.fixture
def running(store_file, small_store, looked_at) -> Iterator[Running]:
    # The dashboard that is only looked at is the first: a test may write before it asks for its own.
    with serving(store_file, copy_of=small_store) as found:
        yield found


@pytest.fixture
def running_on(store_file) -> Iterator[Callable[[date], Running]]:
    """Serve the store as of another day."""
    with ExitStack() as opened:
        yield lambda day: opened.enter_context(serving(store_file, as_of=day))


class Watched:
    """Opens pages that fail their test on a console error or a request to elsewhere.

    A tab that has loaded the dashboard once loads it again in half the time: a test leaves its tabs
    to the next one, without cookies, storage, or any setting of its own.
    """

    _free: ClassVar[list[Page]] = []

    def __init__(self, browser: Browser, token: str) -> None:
        self._browser = browser
        self._token = token
        self._pages: list[Page] = []
        self.troubles: list[str] = []
        self.expected: list[str] = []
        self._listeners = {
            "console": self._console,
            "pageerror": lambda fault: self._trouble(f"script: {fault}"),
            "request": self._request,
        }

    def page(self, width: int = 1440, height: int = 900, *, signed_in: bool = True) -> Page:
        page = self._free.pop() if self._free else self._new()
        self._pages.append(page)
        page.set_viewport_size({"width": width, "height": height})
        if signed_in:
            about = {"domain": "127.0.0.1", "path": "/", "httpOnly": True, "sameSite": "Strict"}
            page.context.add_cookies([{"name": "linedays_sign_in", "value": self._token, **about}])
        for event, listener in self._listeners.items():
            page.on(event, listener)
        return page

    def _new(self) -> Page:
        context = self._browser.new_context(locale="en-GB", reduced_motion="reduce")
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        return page

    def _console(self, message) -> None:
        # That there is no such page is an answer; a missing part of a page is a fault.
        parts = ("/_", "/assets/")
        asked = urlsplit(message.location.get("url", "")).path
        is_answer = "status of 404" in message.text and not asked.startswith(parts)
        if message.type == "error" and not is_answer:
            self._trouble(f"console: {message.text}")

    def _trouble(self, text: str) -> None:
        if not any(expected in text for expected in self.expected):
            self.troubles.append(text)

    def _request(self, request) -> None:
        if not request.url.startswith(("http://127.0.0.1:", "data:", "blob:")):
            self.troubles.append(f"request to elsewhere: {request.url}")
        if "enterprise" in request.url:
            self.troubles.append(f"a licensed file was asked for: {request.url}")

    def close(self) -> None:
        """Leave the tabs as new ones, or close those of which that is not sure."""
        for page in self._pages:
            if page.is_closed() or len(page.context.pages) > 1:
                page.context.close()
                continue
            for event, listener in self._listeners.items():
                page.remove_listener(event, listener)
            if page.url.startswith("http"):
                page.goto(urljoin(page.url, "/health"))  # no script there writes anything again
                page.evaluate("sessionStorage.clear(); localStorage.clear()")
            page.context.clear_cookies()
            page.emulate_media(
                media="null", color_scheme="null", forced_colors="null", reduced_motion="reduce"
            )
            page.mouse.move(0, 0)
            self._free.append(page)


@pytest.fixture
def watched(browser, running, token) -> Iterator[Watched]:
    # Asking for the running dashboard here has it stopped only after its pages are closed.
    with watching(browser, token) as found:
        yield found


@contextmanager
def watching(browser: Browser, token: str) -> Iterator[Watched]:
    """Pages for one person; in the end nothing may have gone wrong in any of them."""
    found = Watched(browser, token)
    yield found
    found.close()
    assert found.troubles == []


# Dashboards that tests only look at: each is started once, so that its answers are kept.


@pytest.fixture(scope="session")
def looked_at(small_store, tmp_path_factory) -> Iterator[Running]:
    """The small programme, for its manager."""
    file = tmp_path_factory.mktemp("looked-at") / "store.sqlite"
    shutil.copy(small_store, file)
    with serving(file, token_of(file, "N1"), copy_of=small_store) as found:
        yield found


@pytest.fixture(scope="session")
def retrained_store(tmp_path_factory) -> Path:
    """Eight families who check themselves, with an educator, E1, and others."""
    return retrained.fill(tmp_path_factory.mktemp("retrained"))


@pytest.fixture(scope="session")
def retrained_programme(retrained_store, tmp_path_factory) -> Iterator[Running]:
    """The same, only looked at."""
    file = tmp_path_factory.mktemp("retrained-looked-at") / "store.sqlite"
    shutil.copy(retrained_store, file)
    with serving(file, token_of(file, "E1"), copy_of=retrained_store) as found:
        yield found


@pytest.fixture(scope="session")
def rates(tmp_path_factory) -> Iterator[Running]:
    """Two sites over fourteen months, for infection prevention."""
    file = two_sites(tmp_path_factory.mktemp("two-sites"))
    with serving(file, signed_in(file, "P1", Role.PREVENTION)) as found:
        yield found


@pytest.fixture(scope="session")
def dwell(tmp_path_factory) -> Iterator[Running]:
    """Lines of two types, for infection prevention."""
    file = two_types(tmp_path_factory.mktemp("two-types"))
    with serving(file, signed_in(file, "P1", Role.PREVENTION)) as found:
        yield found


@pytest.fixture(scope="session")
def many(tmp_path_factory) -> Iterator[Running]:
    """More families to call than fit on a screen, for their manager."""
    file = many_to_call(tmp_path_factory.mktemp("many"))
    with serving(file, signed_in(file, "M1", Role.MANAGER)) as found:
        yield found


@pytest.fixture(scope="session")
def incoming(small_store, tmp_path_factory) -> Iterator[Running]:
    """The small programme after a file with wrong rows, for its manager."""
    folder = tmp_path_factory.mktemp("incoming")
    file = Path(shutil.copy(small_store, folder / "store.sqlite"))
    with Store.open(f"sqlite:///{file}") as store:
        take_in_wrong_rows(store, folder)
    with serving(file, token_of(file, "N1")) as found:
        yield found


@pytest.fixture
def page(watched) -> Page:
    return watched.page()


@pytest.fixture
def looking(browser, looked_at) -> Iterator[Page]:
    """A page of the manager's at the small programme, for tests that store nothing."""
    with watching(browser, looked_at.token) as found:
        yield found.page()
