"""Any family is found from any page, also one that is not on today's list."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import watching


def test_a_family_is_found_by_the_keyboard_from_any_page(browser, many):
    with watching(browser, many.token) as watched:
        page = watched.page()
        page.goto(f"{many.address}/definitions")
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        page.keyboard.press("/")
        find = page.get_by_role("searchbox", name="Find a family")
        expect(find).to_be_focused()
        page.keyboard.type("f22")
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", level=1)).to_have_text("Family F22")
        page.keyboard.press("/")
        page.keyboard.type("south n10")
        page.keyboard.press("Enter")
        expect(page.get_by_role("status")).to_have_text("3 families of 22 with “south n10”.")
        expect(find).to_have_value("south n10")
        table = page.get_by_role("table")
        expect(table.get_by_role("rowheader")).to_have_text(["F14", "F17", "F20"])
        expect(table.get_by_role("link", name="F14")).to_be_focused()


def test_families_are_filtered_and_sorted_without_a_mouse(browser, many):
    with watching(browser, many.token) as watched:
        page = watched.page(390, 844)
        page.goto(f"{many.address}/families")
        expect(page.get_by_role("status")).to_have_text(
            "22 families, in the programme now or before."
        )
        page.get_by_label("Where listed").select_option("No call needed")
        page.get_by_role("button", name="Show").press("Enter")
        expect(page.get_by_role("rowheader")).to_have_text(["F21", "F22"])
        page.get_by_role("link", name="Show all families").press("Enter")
        page.goto(f"{many.address}/families?sort=overdue")
        expect(page.get_by_role("rowheader").first).to_have_text("F06")
