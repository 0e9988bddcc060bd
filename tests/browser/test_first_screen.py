"""How much of the call list is on the first screen at a desk and on a phone, and on a printed page?"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import watching

WHOLE_ROWS = """() => [...document.querySelectorAll('table.calls a.row-link')]
    .map(link => link.closest('tr').getBoundingClientRect())
    .filter(row => row.height && row.top >= 0 && row.bottom <= innerHeight).length"""


def test_the_first_families_are_on_the_first_screen(browser, many):
    with watching(browser, many.token) as watched:
        page = watched.page()
        page.goto(many.address)
        expect(page.locator("table.calls a.row-link")).to_have_count(20)
        for width, height, families in (
            (1280, 720, 8),
            (1366, 768, 8),
            (1440, 900, 12),
            (390, 844, 3),
        ):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate(WHOLE_ROWS) >= families


def test_the_cautions_are_one_line_that_opens_and_are_printed_whole(browser, many):
    with watching(browser, many.token) as watched:
        page = watched.page(1024, 768)
        page.goto(f"{many.address}/definitions")
        cautions = page.get_by_role("complementary", name="Cautions")
        line = cautions.locator("summary")
        expect(line).to_contain_text("not a submission to any registry")
        height = line.bounding_box()["height"]
        line.click()
        assert line.bounding_box()["height"] > height
        line.click()
        assert line.bounding_box()["height"] == height
        page.emulate_media(media="print")
        assert line.evaluate("line => line.scrollWidth <= line.clientWidth")


def test_on_a_phone_pages_and_filters_open_by_a_button(browser, many):
    with watching(browser, many.token) as watched:
        page = watched.page(390, 844)
        page.goto(many.address)
        pages = page.get_by_role("navigation", name="Pages")
        expect(pages).to_be_hidden()
        menu = page.get_by_role("button", name="Menu")
        expect(menu).to_have_attribute("aria-expanded", "false")
        menu.press("Enter")
        expect(menu).to_have_attribute("aria-expanded", "true")
        expect(pages.get_by_role("link", name="Weekly summary")).to_be_visible()
        expect(page.get_by_label("Site")).to_be_hidden()
        page.get_by_role("button", name="Filters").click()
        page.get_by_label("Site").select_option("South")
        expect(page.locator("table.calls a.row-link")).to_have_count(9)
        expect(page.get_by_label("Site")).to_be_focused()


@pytest.mark.parametrize("contacts", [False, True])
def test_a_printed_page_has_twelve_families_with_and_without_contacts(browser, many, contacts):
    with watching(browser, many.token) as watched:
        page = watched.page()
        page.goto(many.address + ("/calls/contacts" if contacts else "/?rows=50"))
        if contacts:
            page.get_by_role("button", name="Show the list with contacts").click()
        expect(page.locator("table.calls tbody:not(.band-head) tr")).to_have_count(20)
        expect(page.get_by_text("555-0101 weekdays")).to_have_count(int(contacts))
        for paper in ("A4", "Letter"):
            pdf = page.pdf(format=paper, landscape=True)
            assert len(re.findall(rb"/Type /Page\b", pdf)) == 2
        page.set_viewport_size({"width": 965, "height": 700})  # Letter without its margins
        page.emulate_media(media="print")
        room = page.locator("table.calls td.write").first.bounding_box()
        assert room["width"] >= 170  # 45 mm
        assert room["height"] >= 34  # 9 mm
