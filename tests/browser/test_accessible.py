"""Can every page be used by everybody, at a desk and on a phone?"""

from __future__ import annotations

from itertools import pairwise

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

PAGES = {
    "calls": "/?family=F1",
    "waiting": "/?show=waiting",
    "family": "/family/F1?time=all",
    "definitions": "/definitions",
    "record": "/record",
    "nothing": "/nowhere",
}
RULES = {
    "runOnly": [
        *("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"),
        "best-practice",
    ]
}


def open_page(page: Page, running, name: str) -> None:
    page.goto(running.address + PAGES[name])
    page.wait_for_selector("main h1")
    if name == "family":
        expect(page.locator(".history .main-svg").first).to_be_visible()
        page.get_by_text("The same as a table").click()
        page.get_by_role("button", name="Show row").first.click()
        expect(page.locator(".shown-source .source")).to_be_visible()


@pytest.mark.parametrize("width", [1440, 390])
@pytest.mark.parametrize("name", list(PAGES))
def test_no_rule_of_the_accessibility_guidelines_is_broken(watched, running, name, width):
    if name == "nothing":
        watched.expected.append("404")
    page = watched.page(width)
    open_page(page, running, name)
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("width", [390, 320])
@pytest.mark.parametrize("name", list(PAGES))
def test_nothing_is_cut_off_on_a_narrow_screen(watched, running, name, width):
    page = watched.page(width)
    open_page(page, running, name)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    clipped = page.evaluate(
        """() => [...document.querySelectorAll('main *')]
            .filter(e => e.getClientRects().length && !e.closest('.scroll, svg, .unseen'))
            .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
            .map(e => e.tagName + '.' + e.className)"""
    )
    assert clipped == []


@pytest.mark.parametrize("name", list(PAGES))
def test_every_page_has_a_language_a_title_and_headings_in_order(page, running, name):
    open_page(page, running, name)
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.title().endswith(" · linedays")
    levels = page.evaluate(
        """() => [...document.querySelectorAll('h1,h2,h3,h4,h5')]
            .filter(h => h.getClientRects().length).map(h => Number(h.tagName[1]))"""
    )
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


@pytest.mark.parametrize("name", list(PAGES))
def test_the_cautions_stand_on_every_page(page, running, name):
    open_page(page, running, name)
    cautions = page.get_by_role("complementary", name="Cautions")
    expect(cautions).to_contain_text("does not diagnose")
    expect(cautions).to_contain_text("emergency instruction")


def test_the_table_of_families_has_a_name_and_named_columns(page, running):
    open_page(page, running, "calls")
    table = page.get_by_role("table", name="Families in calling order, most urgent first")
    expect(table).to_be_visible()
    for head in ("Order", "Family", "Why", "Overdue", "Last heard", "Nurse and site"):
        expect(table.get_by_role("columnheader", name=head)).to_be_visible()
    expect(table.get_by_role("rowheader", name="F1")).to_be_visible()
