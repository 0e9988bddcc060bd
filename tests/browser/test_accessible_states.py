"""Can everybody use what a page shows only in some states, and in the ways a person sets a browser?"""

from __future__ import annotations

from datetime import timedelta

from playwright.sync_api import Page, expect

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from tests.browser.conftest import watching
from tests.browser.small_programme import NOW
from tests.browser.test_accessible import (
    BEYOND_THE_EDGE,
    COLOURS,
    breaks_no_rule,
    is_named_and_in_order,
)
from tests.browser.test_calls import follow

STATES = {
    "next 14 days": "/?show=ahead&rows=50",
    "calls done": "/?show=done&rows=50",
    "no family matches": "/?site=South&nurse=N1",
    "calls typed in": "/calls/sheet",
    "search with results": "/families?q=F0",
    "search without": "/families?q=nowhere",
    "columns hidden": "/families?hide=nurse,site",
    "print with contacts, asked": "/calls/contacts",
}


def is_usable_at_any_width(page: Page) -> None:
    """The same at a desk and, at last, on a phone."""
    for width in (1440, 390):
        page.set_viewport_size({"width": width, "height": 900})
        is_usable(page, by_rules=width == 390)


def is_usable(page: Page, *, by_rules: bool = True) -> None:
    """Named, in order, nothing beyond the edge, and axe finds nothing."""
    is_named_and_in_order(page)
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert page.evaluate(BEYOND_THE_EDGE) == []
    if by_rules:
        breaks_no_rule(page)


def test_every_state_of_the_lists_can_be_used(browser, many):
    with watching(browser, many.token) as watched:
        page = watched.page()
        for address in STATES.values():
            page.set_viewport_size({"width": 1440, "height": 900})
            page.goto(many.address + address)
            expect(page.locator("main h1")).to_be_visible()
            is_usable(page)
            page.set_viewport_size({"width": 320, "height": 900})
            assert page.evaluate("innerWidth") == 320
            assert page.evaluate(BEYOND_THE_EDGE) == []
        page.set_viewport_size({"width": 1440, "height": 900})
        page.get_by_role("button", name="Show the list with contacts").click()
        expect(page.get_by_text("555-0101 weekdays")).to_be_visible()
        is_usable(page)


def test_a_new_red_flag_shows_without_reload_and_what_changed_can_be_used(
    page, running, store_file, tmp_path
):
    page.goto(running.address)
    expect(page.locator("table.calls").first).to_be_visible()
    url = f"sqlite:///{store_file}"
    flag = tmp_path / "home_log.csv"
    flag.write_text("line_id,family_id,done_at,kind,findings\nL3,F3,2031-03-04,skin_check,fever\n")
    with Store.open(url) as store:
        # The look just noted was an hour ago.
        seen = store.people.seen_before("N1", "calls", NOW + timedelta(hours=1), b"", looks=False)
        assert seen is not None
        store.people.mark_seen("N1", "calls", NOW - timedelta(hours=1), seen.seen)
        ingested = ingest(store, [flag], shipped_policy(), received_at=NOW - timedelta(minutes=5))
        assert ingested.refused == 0
    follow(page)
    expect(page.locator("#calls-announced")).to_contain_text("New red flag: family F3.")
    page.reload()
    changed = page.locator("details.changed")
    expect(changed.locator("summary")).to_contain_text("1 new red flag")
    changed.locator("summary").click()
    expect(changed.get_by_role("link", name="F3")).to_be_visible()
    is_usable(page)


def test_with_forced_colours_and_at_twice_the_size_nothing_is_lost(browser, looked_at):
    with watching(browser, looked_at.token) as watched:
        page = watched.page(720, 450)  # a screen of 1440 by 900 at 200 %
        page.emulate_media(forced_colors="active")
        for address in ("/?family=F1", "/family/F1", "/families"):
            page.goto(looked_at.address + address)
            expect(page.locator("main h1")).to_be_visible()
            assert page.evaluate("document.documentElement.scrollWidth") <= 720
            is_usable(page, by_rules=False)
            breaks_no_rule(page, COLOURS)
        # The marks of the bands have outlines, which a system's own colours do not remove.
        outline = "stroke => parseFloat(getComputedStyle(stroke).borderLeftWidth)"
        assert page.locator(".strokes i").first.evaluate(outline) > 0
