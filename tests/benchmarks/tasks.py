"""How many clicks, keys, seconds and how much scrolling do ten tasks of a morning take?

Serves a copy of a demo store and does each task in Chromium as a person would, at a desk (1440 px)
and on a phone (390 px). Seconds are those of the machine: nobody reads or thinks. Then it prints
first paint, weight and accessibility findings of each page, in the light and the dark scheme. Run:

    linedays demo --no-serve && python tests/benchmarks/tasks.py FOLDER/demo.sqlite
"""

from __future__ import annotations

import argparse
import logging
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright
from waitress.server import create_server

from analysis.store import Store
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from tests.chromium import CHROMIUM

SCREENS = ((1440, 900), (390, 844))
PATIENCE = 60_000
SCROLLED = """element => {
    const place = () => scrollY
        + [...document.querySelectorAll('.panel')].reduce((sum, p) => sum + p.scrollTop, 0);
    const before = place();
    element.scrollIntoView({block: 'nearest', behavior: 'instant'});
    return Math.abs(place() - before);
}"""
WEIGHT = """() => {
    const all = [...performance.getEntriesByType('navigation'),
        ...performance.getEntriesByType('resource')];
    const paint = performance.getEntriesByName('first-contentful-paint')[0];
    return [all.reduce((sum, e) => sum + e.transferSize, 0), paint ? paint.startTime : null];
}"""


@dataclass
class Person:
    """Somebody at a screen; counts what the person does."""

    page: Page
    address: str
    clicks: int = 0
    keys: int = 0
    scrolled: float = 0.0

    def open(self, path: str) -> None:
        """Open a page, as from a bookmark."""
        self.page.goto(self.address + path)

    def see(self, wanted: Locator) -> None:
        """Scroll until something is in sight."""
        expect(wanted).to_be_visible()
        self.scrolled += float(wanted.evaluate(SCROLLED))

    def click(self, wanted: Locator) -> None:
        """Click it."""
        self.see(wanted)
        wanted.click()
        self.clicks += 1

    def unfold(self, name: str) -> None:
        """Open what a narrow screen hides behind a button."""
        button = self.page.get_by_role("button", name=name)
        if button.is_visible():
            self.click(button)

    def press(self, key: str) -> None:
        """Press a key."""
        self.page.keyboard.press(key)
        self.keys += 1

    def write(self, text: str) -> None:
        """Type a text."""
        self.page.keyboard.type(text)
        self.keys += len(text)


def first_to_call(person: Person) -> None:
    """The manager sees who is first and why."""
    person.open("/")
    person.see(person.page.locator(".answer a"))


def record_reached(person: Person) -> None:
    """A call that reached the first family."""
    _open_first(person)
    person.click(person.page.get_by_role("radio", name="Yes, spoke with family"))
    person.click(person.page.get_by_role("button", name="Record the call"))
    person.see(person.page.locator("#panel-message"))


def record_no_answer(person: Person) -> None:
    """A call without an answer."""
    _open_first(person)
    person.click(person.page.get_by_role("radio", name="No answer"))
    person.click(person.page.get_by_role("button", name="Record the call"))
    person.see(person.page.locator("#panel-message"))


def find_family(person: Person) -> None:
    """A parent rings whose family is not on the list."""
    person.open("/")
    expect(person.page.locator("table.calls").first).to_be_visible()
    person.press("/")
    person.write("f-0001")
    person.press("Enter")
    person.see(person.page.get_by_role("heading", name="Family F-0001"))


def postpone(person: Person) -> None:
    """A family is on holiday until tomorrow."""
    person.open("/?show=call_today")
    person.click(person.page.locator("table.calls a.row-link").first)
    person.click(person.page.get_by_text("Postpone until a day"))
    person.click(person.page.get_by_label("Reason"))
    person.write("away")
    person.press("Enter")
    person.see(person.page.locator("#panel-message"))


def print_list(person: Person) -> None:
    """The list goes to the printer."""
    person.page.add_init_script("window.print = () => (window.printed = true)")
    person.open("/")
    expect(person.page.locator("table.calls").first).to_be_visible()
    person.unfold("Filters")
    person.click(person.page.get_by_role("button", name="Print", exact=True))
    person.page.wait_for_function("window.printed")


def the_signal(person: Person) -> None:
    """Infection prevention sees whether harm has risen, where, and by how much."""
    person.open("/rates")
    person.see(person.page.locator(".answer"))


def annotate(person: Person) -> None:
    """A note on the chart."""
    person.open("/rates")
    person.click(person.page.get_by_text("Add a note to the chart"))
    note = person.page.get_by_label("What happened")
    person.click(note)
    person.write(f"new gloves {id(person) % 1000}")  # the same note counts once
    person.press("Enter")
    person.see(person.page.get_by_role("status").filter(has_text="Note added"))


def plan_a_session(person: Person) -> None:
    """The educator opens the first session that is proposed."""
    person.open("/retraining")
    person.click(person.page.locator("a[href*='sheet=']").first)
    person.see(person.page.get_by_role("heading", level=1))


def mark_attendance(person: Person) -> None:
    """The educator marks the first caregiver as trained."""
    person.open("/retraining")
    page = person.page
    expect(page.locator("table.needs a.row-link").first).to_be_visible()
    if not page.get_by_role("region", name="Opened need").is_visible():
        person.click(page.locator("table.needs a.row-link").first)
    person.click(page.get_by_role("radio", name="Independent"))
    person.click(page.get_by_role("button", name="Mark"))
    person.see(page.locator("#panel-message"))


def _open_first(person: Person) -> None:
    person.open("/")
    link = person.page.locator("table.calls a.row-link").first
    expect(link).to_be_visible()
    if not person.page.get_by_role("button", name="Record the call").is_visible():
        person.click(link)


TASKS: dict[str, Callable[[Person], None]] = {
    "see who is first to call": first_to_call,
    "record a call that reached": record_reached,
    "record no answer": record_no_answer,
    "find the family of a caller": find_family,
    "postpone a family": postpone,
    "print the list": print_list,
    "see the signal": the_signal,
    "add a note to the chart": annotate,
    "open a proposed session": plan_a_session,
    "mark a refresher": mark_attendance,
}
PAGES = (
    "/",
    "/families",
    "/family/F-0001",
    "/retraining",
    "/rates",
    "/dwell",
    "/week",
    "/incoming",
)


@contextmanager
def served(store: Path) -> Iterator[str]:
    """A copy of a demo store at an address of this machine, on the day after its newest entry."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(shutil.copy(store, Path(folder) / "demo.sqlite"))
        url = f"sqlite:///{copy}"
        with Store.open(url) as opened:
            newest = opened.records().home_log["done_on"].max().date()
        config = DashboardConfig(store_url=url, demo=True, as_of=newest + timedelta(days=1))
        app = create_app(config)
        server = create_server(app.server, host="127.0.0.1", port=0, threads=4, ident=None)
        threading.Thread(target=server.run, daemon=True).start()
        yield f"http://127.0.0.1:{server.effective_port}"
        server.close()
        app.service.close()


def tasks(browser: Browser, address: str) -> None:
    """Do each task on each screen and print what it took."""
    print(f"{'task':30} {'px':>5} {'clicks':>7} {'keys':>5} {'scrolled':>9} {'seconds':>8}")
    for name, task in TASKS.items():
        for width, height in SCREENS:
            context = browser.new_context(viewport={"width": width, "height": height})
            page = context.new_page()
            page.set_default_timeout(PATIENCE)
            person = Person(page, address)
            begun = time.perf_counter()
            try:
                task(person)
            except Exception as fault:
                print(f"{name:30} {width:5} could not be done: {str(fault).splitlines()[0]}")
            else:
                seconds = time.perf_counter() - begun
                print(
                    f"{name:30} {width:5} {person.clicks:7} {person.keys:5} "
                    f"{person.scrolled:6.0f} px {seconds:8.1f}"
                )
            context.close()


def pages(browser: Browser, address: str) -> None:
    """First paint, weight and accessibility of each page."""
    print(f"\n{'page':18} {'px':>5} {'paint ms':>9} {'kB':>7}  accessibility: light, dark")
    for path in PAGES:
        for width, height in SCREENS:
            context = browser.new_context(viewport={"width": width, "height": height})
            page = context.new_page()
            page.set_default_timeout(PATIENCE)
            page.goto(address + path)
            expect(page.locator("main h1").first).to_be_visible(timeout=PATIENCE)
            page.wait_for_load_state("networkidle")
            weight, paint = page.evaluate(WEIGHT)
            found = []
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                found.append(str(Axe().run(page).violations_count))
            print(f"{path:18} {width:5} {paint:9.0f} {weight / 1000:7.0f}  {', '.join(found)}")
            context.close()


def main() -> None:
    """Print both tables."""
    logging.getLogger("waitress").setLevel(logging.ERROR)  # more requests than threads are no news
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("store", type=Path)
    with served(parser.parse_args().store) as address, sync_playwright() as play:
        flags = ["--no-sandbox", "--disable-dev-shm-usage"]
        browser = play.chromium.launch(executable_path=CHROMIUM, args=flags)
        expect.set_options(timeout=PATIENCE)
        tasks(browser, address)
        pages(browser, address)
        browser.close()


if __name__ == "__main__":
    main()
