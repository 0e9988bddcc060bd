"""Can every page be used by everybody, at a desk, on a phone and on paper?"""

from __future__ import annotations

from itertools import pairwise

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import Running, watching

PAGES = {
    "calls": ("looked_at", "/?family=F1"),
    "waiting": ("looked_at", "/?show=waiting"),
    "families": ("many", "/families"),
    "family": ("looked_at", "/family/F1?time=all"),
    "family then": ("looked_at", "/family/F1?known=2031-03-03"),
    "definitions": ("looked_at", "/definitions"),
    "record": ("looked_at", "/record"),
    "week": ("looked_at", "/week?known=now"),
    "incoming": ("incoming", "/incoming"),
    "correct a row": ("incoming", "/incoming/row/1"),
    "import files": ("incoming", "/incoming/files"),
    "account": ("looked_at", "/account"),
    "nothing": ("looked_at", "/nowhere"),
    "retraining": ("retrained_programme", "/retraining"),
    "opened need": (
        "retrained_programme",
        "/retraining?family=F1&caregiver=K1&need=mask&skill=flush",
    ),
    "session sheet": ("retrained_programme", "/retraining?sheet=1&site=North&need=mask"),
    "rates": ("rates", "/rates"),
    "dwell": ("dwell", "/dwell?by=line_type"),
    "dwell of all": ("dwell", "/dwell"),
}
"""Which dashboard a page is looked at in, and where it lies."""
WITH_FIGURES = {"retraining", "family", "family then", "rates", "dwell", "dwell of all", "incoming"}
RULES = {
    "runOnly": [
        *("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"),
        "best-practice",
    ],
    "resultTypes": ["violations"],
}
COLOURS = {**RULES, "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
"""The rules that depend on colours."""
ALIKE = {"exclude": [["tbody tr:nth-child(n+4):not(:last-child)"]]}
"""Of the rows of a table the first three and the last are looked at: the others are like them."""
SAME_KIND = {"waiting", "family then", "opened need", "dwell of all"}
"""Pages on which nothing has a colour that another page does not show, in the dark either."""
BEYOND_THE_EDGE = """() => [...document.querySelectorAll('main *')]
    .filter(e => e.getClientRects().length && !e.closest('.scroll, svg, .unseen'))
    .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
    .map(e => e.tagName + '.' + e.className)"""
HEADINGS = """() => [...document.querySelectorAll('h1,h2,h3,h4,h5')]
    .filter(h => h.getClientRects().length).map(h => Number(h.tagName[1]))"""
REDRAWN = """() => [...document.querySelectorAll('.js-plotly-plot .main-svg:first-child')]
    .filter(e => e.getClientRects().length)
    .every(e => e.getBoundingClientRect().right <= innerWidth + 1)"""
"""Whether figures have been drawn again since the window became narrower."""
FILLED = """() => [...document.querySelectorAll('.history .js-plotly-plot')]
    .filter(e => e.getClientRects().length)
    .every(e => e.querySelector('.main-svg').getBoundingClientRect().width
        >= e.getBoundingClientRect().width - 2)"""
"""Whether figures have been drawn again since the window became wider."""
WORDS_AMISS = """() => [...document.querySelectorAll('.js-plotly-plot')].flatMap(plot => {
    const frame = plot.getBoundingClientRect();
    const boxes = [...plot.querySelectorAll(
        '.xtick text, .ytick text, .annotation-text, .textpoint text')]
        .map(e => ({t: e.textContent, r: e.getBoundingClientRect()}))
        .filter(b => b.r.width > 0);
    const out = boxes.filter(b => b.r.left < frame.left - 1
        || b.r.right > frame.right + 1).map(b => 'cut off: ' + b.t);
    const over = boxes.flatMap((a, i) => boxes.slice(i + 1)
        .filter(b => a.r.left < b.r.right - 1 && b.r.left < a.r.right - 1
            && a.r.top < b.r.bottom - 4 && b.r.top < a.r.bottom - 4)
        .map(b => a.t + ' over ' + b.t));
    return [...out, ...over];
})"""


def open_page(page: Page, running: Running, name: str) -> None:
    """Open a page with everything on it that can be unfolded."""
    page.goto(running.address + PAGES[name][1])
    page.wait_for_selector("main h1")
    if name in {"retraining", "opened need"}:
        for name_of_part in ("Who is not signed off?", "Did refreshers help?"):
            expect(page.get_by_role("heading", name=name_of_part)).to_be_visible()
    if name in WITH_FIGURES:
        expect(page.locator(".history .main-svg >> visible=true").first).to_be_visible()
        for details in page.get_by_text("The same as a table").locator("visible=true").all():
            details.click()
    if name == "week":
        expect(page.get_by_role("heading", name="In brief")).to_be_visible()
    if name == "incoming":
        page.locator(".doubt-kind summary").first.click()
    if "family" in name:
        page.get_by_role("button", name="Show entry").first.click()
        expect(page.locator(".shown-source .source")).to_be_visible()


@pytest.mark.parametrize("name", list(PAGES))
def test_everybody_can_use_a_page(browser, request, name):
    running = request.getfixturevalue(PAGES[name][0])
    with watching(browser, running.token) as watched:
        if name == "nothing":
            watched.expected.append("404")
        page = watched.page()
        open_page(page, running, name)
        is_named_and_in_order(page)
        says_the_cautions(page)
        breaks_no_rule(page)
        for width in (390, 320):
            page.set_viewport_size({"width": width, "height": 844})
            page.wait_for_function(REDRAWN)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            assert page.evaluate(BEYOND_THE_EDGE) == []
            if name in WITH_FIGURES:
                assert page.evaluate(WORDS_AMISS) == []
        if name not in SAME_KIND:
            page.emulate_media(color_scheme="dark")
            breaks_no_rule(page, COLOURS)
        if name in WITH_FIGURES and "family" not in name:
            page.set_viewport_size({"width": 1440, "height": 900})
            fits_a_sheet_of_paper(page)


def breaks_no_rule(page: Page, rules: dict = RULES) -> None:
    """The page breaks none of the rules; its words are there before its styles."""
    page.wait_for_load_state()
    found = Axe().run(page, context=ALIKE, options=rules)
    assert found.violations_count == 0, found.generate_report()


def is_named_and_in_order(page: Page) -> None:
    """The page has a language, a title and headings that leave out no level."""
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.title().endswith(" · linedays")
    levels = page.evaluate(HEADINGS)
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def says_the_cautions(page: Page) -> None:
    """The cautions stand on the page."""
    cautions = page.get_by_role("complementary", name="Cautions")
    expect(cautions).to_contain_text("does not diagnose")
    expect(cautions).to_contain_text("emergency protocol")


def fits_a_sheet_of_paper(page: Page) -> None:
    """In print figures are as wide as paper, tables are open, and choices are left out."""
    page.wait_for_function(FILLED)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    for figure in page.locator(".history .main-svg:first-child").all():
        expect(figure).to_have_attribute("width", "680")
    expect(page.get_by_role("complementary", name="Cautions")).to_be_visible()
    expect(page.locator(".same table").first).to_be_visible()
    expect(page.locator(".tools").first).to_be_hidden()
