"""Any family is found from any page, also one that is not on today's list."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from analysis.vocabulary import Role
from tests.browser.conftest import signed_in, watching


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


def test_the_columns_that_a_person_chose_are_remembered(browser, many):
    with watching(browser, many.token) as watched:
        page = watched.page()
        page.goto(f"{many.address}/families?sort=overdue")
        page.get_by_text("Columns", exact=True).click()
        page.get_by_role("link", name="Hide nurse").click()
        page.get_by_role("link", name="Hide last heard from").click()
        shown = ["Family", "Where listed today", "Dressing overdue ▾", "Site"]
        expect(page.get_by_role("columnheader")).to_have_text(shown)
        page.get_by_label("Site").select_option("North")
        page.get_by_role("button", name="Show", exact=True).click()
        expect(page.get_by_role("status")).to_have_text("11 families of 22.")
        another = watched.page()  # another machine, or another day
        another.goto(f"{many.address}/families")
        expect(another.get_by_role("columnheader")).to_have_text(shown)
        expect(another.get_by_label("Site")).to_have_value("North")
        expect(another.get_by_role("rowheader").first).to_have_text("F06")
        another.get_by_role("link", name="Show all families").click()
        expect(another.get_by_role("columnheader")).to_have_count(6)


def test_a_call_is_recorded_and_undone_on_the_page_of_a_family(page, running):
    page.goto(f"{running.address}/?nurse=N1&family=F2")
    page.get_by_role("link", name="Full history").click()
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_have_text("Family F2")
    ways = page.get_by_role("navigation", name="List")
    expect(ways).to_contain_text("2 of 3")
    expect(ways.get_by_role("link", name="Previous: F1")).to_be_visible()
    page.get_by_role("button", name="Record the call").click()
    expect(page.get_by_role("alert").filter(has_text="Choose whether")).to_be_visible()
    page.get_by_role("radio", name="Yes, spoke with family").check()
    page.get_by_label("What was agreed").fill("change it today")
    page.get_by_role("button", name="Record the call").click()
    said = page.get_by_role("status").filter(has_text="Call recorded.")
    expect(said).to_be_focused()
    expect(page.locator(".family-head")).to_contain_text("Waiting")
    assert list(running.records().calls["agreed"]) == ["change it today"]
    expect(ways.get_by_role("link", name="Next: F1")).to_be_visible()
    said.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("status").filter(has_text="The call to F2 was undone.")).to_be_focused()
    assert len(running.records().calls) == 0
    page.get_by_text("Postpone until a day").click()
    page.get_by_label("Reason").fill("at the clinic")
    page.get_by_role("button", name="Postpone the family").click()
    expect(page.get_by_role("status").filter(has_text="F2 is postponed")).to_be_visible()
    page.get_by_role("link", name="Next: family F1").click()
    expect(heading).to_have_text("Family F1")
    page.get_by_role("link", name="Back to the call list").click()
    expect(page).to_have_url(re.compile(r"/\?nurse=N1$"))


def test_a_key_leads_to_the_next_family_and_others_on_it_are_named(
    browser, watched, running, store_file
):
    token = signed_in(store_file, "N2", Role.NURSE)
    with watching(browser, token) as others:
        theirs = others.page()
        theirs.goto(f"{running.address}/family/F2")
        expect(theirs.get_by_role("heading", level=1)).to_have_text("Family F2")
        mine = watched.page()
        mine.goto(f"{running.address}/?nurse=N1&family=F1")
        mine.get_by_role("link", name="Full history").click()
        heading = mine.get_by_role("heading", level=1)
        expect(heading).to_have_text("Family F1")
        expect(mine.get_by_role("link", name="Next: F2")).to_be_visible()
        mine.keyboard.press("n")
        expect(heading).to_have_text("Family F2")
        expect(mine.locator("#family-others")).to_contain_text("N2 opened this family at 09:00.")
        expect(mine.get_by_role("link", name="Next: F6")).to_be_visible()
        mine.keyboard.press("n")
        expect(heading).to_have_text("Family F6")
