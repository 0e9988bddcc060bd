"""Codes may be long and of any alphabet, and one person may have two tabs."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from playwright.sync_api import expect

from analysis.store import Store
from analysis.vocabulary import Role
from tests.browser import small_programme
from tests.browser.conftest import serving, signed_in, watching
from tests.browser.test_accessible import BEYOND_THE_EDGE, REDRAWN

LONG = "Familie-Ørsted-von-und-zu-Überlingen-am-Bodensee-0000001"
OTHER = "家族一号"
NURSE = "сестра-Ґонта-Київ-північ-1"


@pytest.fixture(scope="module")
def odd(tmp_path_factory):
    """The small programme with a long family code, one of another alphabet, and such a nurse."""
    folder = tmp_path_factory.mktemp("odd-codes")
    lines = small_programme.LINES
    for code, odd in (("F1", LONG), ("F2", OTHER), ("N1", NURSE)):
        lines = lines.replace(f",{code},", f",{odd},")
    file = folder / "store.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        for name, text in (("lines", lines), ("home_log", small_programme.HOME_LOG)):
            small_programme.take_in(store, folder / f"{name}.csv", text)
    with serving(file, signed_in(file, "M1", Role.MANAGER)) as found:
        yield found


def test_long_codes_and_other_alphabets_are_shown_whole(browser, odd):
    family = quote(LONG)
    with watching(browser, odd.token) as watched:
        page = watched.page()
        for path in ("/", f"/?family={family}", "/families", f"/family/{family}", "/calls/sheet"):
            page.goto(odd.address + path)
            page.wait_for_selector("main h1")
            for width in (320, 1440):
                page.set_viewport_size({"width": width, "height": 900})
                expect(page.get_by_text(LONG).locator("visible=true").first).to_be_visible()
                page.wait_for_function(REDRAWN)
                assert page.evaluate("document.documentElement.scrollWidth") <= width
                assert page.evaluate(BEYOND_THE_EDGE) == []
        page.goto(f"{odd.address}/family/{quote(OTHER)}")
        expect(page.get_by_role("heading", name=OTHER)).to_be_visible()


def test_a_call_recorded_in_one_tab_is_seen_in_the_other(browser, running, token):
    with watching(browser, token) as watched:
        one = watched.page()
        two = one.context.new_page()
        for tab in (one, two):
            tab.goto(f"{running.address}/family/F2")
            expect(tab.get_by_role("heading", name="Family F2")).to_be_visible()
        one.get_by_role("radio", name="No answer").check()
        one.get_by_role("button", name="Record the call").click()
        for tab in (one, two):
            expect(tab.get_by_text("Tried 09:00, no answer.")).to_be_visible()
            two.reload()
        assert len(running.records().calls) == 1
