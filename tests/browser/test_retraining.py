"""An educator's morning: who first, which step, what proves it, who is not signed off."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Running, serving, token_of, watching


@pytest.fixture
def educators(retrained_store, tmp_path) -> Iterator[Running]:
    """The programme in a copy that a test may write to."""
    file = Path(shutil.copy(retrained_store, tmp_path / "store.sqlite"))
    with serving(file, token_of(file, "E1"), copy_of=retrained_store) as found:
        yield found


def open_page(page: Page, running: Running, query: str = "") -> None:
    page.goto(f"{running.address}/retraining{query}")
    expect(page.get_by_role("heading", level=1)).to_have_text("Retraining")
    expect(page.get_by_role("heading", name="Who is not signed off?")).to_be_visible()


def panel(page: Page):
    return page.get_by_role("region", name="Opened need")


def listed(page: Page) -> list[str]:
    return [
        t.split()[0].strip(",") for t in page.locator("table.needs a.row-link").all_inner_texts()
    ]


def test_the_page_opens_on_who_is_first_and_proves_it(browser, retrained_programme):
    with watching(browser, retrained_programme.token) as watched:
        page = watched.page()
        open_page(page, retrained_programme)
        expect(page.locator(".answer")).to_contain_text(
            "First: family F3, caregiver K3. Let dry long enough: left out in 10 of 12 "
            "self-checks, very likely above the limit of 20 % (probability over 99 %)."
        )
        assert listed(page) == ["F3", "F2", "F6", "F1"]
        expect(panel(page)).to_contain_text("Family F3")
        expect(panel(page).locator(".source").first).to_contain_text("let dry long enough")
        page.locator("table.needs a.row-link").first.focus()
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        expect(panel(page)).to_contain_text("Family F2")
        expect(panel(page)).to_contain_text("Left out in 9 of 12 self-checks")
        # Choosing a skill keeps what is opened.
        expect(page.get_by_role("region", name="Caregivers without")).to_contain_text("K4")
        page.locator("#choose-skill").select_option("flush")
        expect(page.get_by_text("No sign-offs for the flush are stored")).to_be_visible()
        expect(panel(page)).to_contain_text("Family F2")
        # K1 was retrained on 15 January: only the six checks since then count.
        page.locator("table.needs a.row-link").last.click()
        expect(panel(page)).to_contain_text("Family F1")
        expect(panel(page)).to_contain_text("Left out in 4 of 6 self-checks")
        expect(panel(page)).to_contain_text("independent, 15 Jan, refresher")
        page.get_by_label("Site").select_option("South")
        expect(page.locator("table.needs a.row-link")).to_have_count(1)
        expect(panel(page)).to_contain_text("Family F6")
        shown = panel(page).locator(".source .where").first.inner_text()
        panel(page).get_by_role("link", name="Whole history").click()
        history = page.get_by_role("region", name="The same as a table, newest first")
        expect(history).to_contain_text("28 Jan 2031")
        assert "home_log.csv, row" in shown


def test_on_a_phone_the_need_takes_the_lists_place_and_gives_it_back(browser, retrained_programme):
    with watching(browser, retrained_programme.token) as watched:
        page = watched.page(390, 844)
        open_page(page, retrained_programme)
        expect(panel(page)).to_be_hidden()
        expect(page.locator(".picture [role=img]")).to_be_hidden()
        expect(page.locator(".by-family")).to_contain_text("F1")
        page.locator("table.needs a.row-link").nth(1).click()
        expect(panel(page)).to_contain_text("Log entries")
        expect(page.locator("table.needs")).to_be_hidden()
        panel(page).get_by_role("link", name="Back to the list").click()
        expect(page.locator("table.needs")).to_be_visible()


def test_a_session_is_planned_and_its_sheet_printed(browser, retrained_programme):
    with watching(browser, retrained_programme.token) as watched:
        page = watched.page()
        open_page(page, retrained_programme)
        planned = page.get_by_role("region", name="Possible groups")
        expect(planned).to_contain_text("2: F1, F2")
        page.get_by_label("Together").select_option("language")
        expect(planned).to_contain_text("Finnish")
        page.get_by_label("Size").select_option("4")
        planned.get_by_role("link", name="Sheet for Mask on, North").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Session: Mask on")
        sheet = page.get_by_role("region", name="Caregivers invited")
        expect(sheet.get_by_role("row").filter(has_text="K1, parent")).to_contain_text(
            "Left out in 4 of 6 self-checks."
        )
        expect(page.locator(".blanks")).to_be_hidden()
        page.emulate_media(media="print")
        page.set_viewport_size({"width": 703, "height": 1000})  # A4 less its margins
        expect(page.locator(".blanks")).to_be_visible()
        expect(page.get_by_role("complementary", name="Cautions")).to_be_visible()
        expect(page.get_by_role("button", name="Print this sheet")).to_be_hidden()
        assert page.evaluate("document.documentElement.scrollWidth") <= 703
        assert page.locator(".sheet .box").count() == 2 * 4


def test_a_refresher_is_marked_done_shows_at_once_and_is_taken_back(browser, educators):
    with watching(browser, educators.token) as watched:
        page = watched.page(390)
        open_page(page, educators, "?family=F2&caregiver=K2&need=mask")
        panel(page).get_by_role("button", name="Mark it done").click()
        not_saved = page.get_by_role("alert").filter(has_text="Choose how it went.")
        expect(not_saved).to_have_count(1)  # read aloud
        question = panel(page).get_by_role("group", name="How it went")
        expect(question.get_by_text("Choose how it went.")).to_be_in_viewport()
        expect(question.get_by_role("radio").first).to_be_focused()
        panel(page).get_by_label("Held on").fill("2031-03-03")
        panel(page).get_by_role("radio", name="With help").check()
        panel(page).get_by_role("button", name="Mark it done").click()
        expect(panel(page).get_by_role("status")).to_contain_text(
            "Marked: a refresher of caregiver K2 on 3 Mar 2031."
        )
        expect(panel(page).get_by_role("status")).to_be_focused()
        expect(not_saved).to_have_count(0)
        expect(panel(page)).to_contain_text("3 Mar, caregiver K2: dressing change, with help")
        panel(page).get_by_role("button", name="Undo this refresher").click()
        expect(panel(page).get_by_role("status")).to_contain_text("undone")
        expect(panel(page)).not_to_contain_text("Refreshers marked here")


def test_before_and_after_is_explained_where_it_is_shown(browser, retrained_programme):
    with watching(browser, retrained_programme.token) as watched:
        page = watched.page()
        open_page(page, retrained_programme)
        helped = page.locator("section").filter(
            has=page.get_by_role("heading", name="Did refreshers help?")
        )
        expect(helped).to_contain_text(
            "1 family with entries in the 91 days before and after a refresher"
        )
        expect(helped).to_contain_text("regression to the mean")
        page.get_by_role("combobox", name="Step").last.select_option("dry_time")
        expect(page.get_by_text("Let dry long enough: missed 5 of 35")).to_be_visible()
        expect(panel(page)).to_contain_text("Family F3")
        helped.get_by_role("link", name="How the effect is calculated").click()
        expect(page.locator("#refresher_effect")).to_contain_text("Answer: 0.5, 1.0.")
