"""One family's page: what happened, mark by mark, with the row behind each."""

from __future__ import annotations

from playwright.sync_api import Page, expect


def open_family(page: Page, running, family: str, query: str = "") -> None:
    page.goto(f"{running.address}/family/{family}{query}")
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Family {family}")
    expect(page.locator(".history .main-svg").first).to_be_visible()


def test_the_family_is_reached_from_the_list_and_leads_back(page, running):
    page.goto(f"{running.address}/?family=F1")
    page.get_by_role("link", name="Whole history").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Family F1")
    expect(page).to_have_title("Family F1 · linedays")
    page.get_by_role("link", name="Back to the call list").click()
    expect(page.get_by_role("heading", name="Family F1")).to_be_visible()
    expect(page).to_have_title("Calls for Tuesday 4 March 2031 · linedays")


def test_the_state_of_the_line_is_said_in_words(page, running):
    open_family(page, running, "F1")
    expect(page.locator(".summary")).to_have_text(
        "The dressing is in date until 6 Mar: last changed 27 Feb."
    )
    open_family(page, running, "F2")
    expect(page.locator(".summary")).to_have_text(
        "The dressing is 5 days overdue: last changed 20 Feb, allowed until 27 Feb."
    )
    open_family(page, running, "F5")
    expect(page.locator(".summary")).to_contain_text("It had to be changed by 2 Mar, 2 days ago.")


def test_a_click_on_a_mark_shows_the_row_it_comes_from(page, running):
    open_family(page, running, "F1")
    star = page.locator(".scatterlayer .trace:has(text:has-text('fever')) .point").first
    star.click(force=True)
    shown = page.locator(".shown-source")
    expect(shown).to_contain_text("home_log.csv, row 3")
    expect(shown).to_contain_text("felt hot in the night")


def test_the_table_holds_the_same_marks_and_shows_the_same_rows_by_keyboard(page, running):
    open_family(page, running, "F1")
    page.get_by_role("link", name="all", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{running.address}/family/F1?time=all")
    table = page.get_by_role("region", name="The same as a table, newest first")
    for words in (
        "Red flag: fever; skin finding: redness; said: felt hot in the night.",
        "Child C1 away: hospital.",
        "Nothing logged.",
    ):
        expect(table.get_by_text(words, exact=True).first).to_be_visible()
    expect(page.get_by_role("link", name="all", exact=True)).to_be_focused()
    button = table.get_by_role("button", name="Show row of 20 Jan 2031 to 24 Jan 2031")
    button.focus()
    page.keyboard.press("Enter")
    expect(page.locator(".shown-source")).to_contain_text("stays.csv, row 2")


def test_a_recorded_call_is_a_mark_with_its_own_row(page, running):
    page.goto(f"{running.address}/?family=F2")
    page.get_by_role("radio", name="Yes, spoke with the family").check()
    page.get_by_role("button", name="Record the call").click()
    expect(page.get_by_role("status").filter(has_text="Recorded.")).to_be_visible()
    open_family(page, running, "F2")
    page.get_by_role("button", name="Show row of 4 Mar 2031: call, reached (by N1)").click()
    expect(page.locator(".shown-source")).to_contain_text("recorded here on 04 Mar 2031, 09:00")
    expect(page.get_by_text("N1: reached; list again from 6 Mar")).to_be_visible()


def test_the_figure_fits_a_sheet_of_paper(page, running):
    open_family(page, running, "F1")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    expect(page.locator(".history .main-svg").first).to_have_attribute("width", "680")
