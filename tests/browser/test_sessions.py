"""An educator's whole morning: from the list to a session, its hand-outs, and who came."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import watching
from tests.browser.test_accessible_states import is_usable_at_any_width
from tests.browser.test_retraining import educators, listed, open_page, panel

__all__ = ["educators"]


def test_an_educators_morning(browser, educators):
    with watching(browser, educators.token) as watched:
        watched.expected.append("422")
        page = watched.page(390)
        open_page(page, educators)
        assert listed(page) == ["F3", "F2", "F6", "F1"]

        # From a need to the form: its caregiver is ticked, another one is added.
        page.locator("table.needs a.row-link").nth(1).click()
        expect(panel(page)).to_contain_text("Family F2")
        panel(page).get_by_role("link", name="Plan a session").click()
        expect(page.get_by_role("checkbox", name="Invite F2, K2")).to_be_checked()
        page.get_by_role("checkbox", name="Invite F6, K6").check()
        page.get_by_label("Day", exact=True).fill("")
        page.get_by_label("Place").fill("clinic, room 2")
        page.get_by_role("button", name="Plan the session").click()
        expect(page.get_by_text("Enter the day of the session.")).to_be_visible()
        is_usable_at_any_width(page)
        expect(page.get_by_label("Place")).to_have_value("clinic, room 2")
        page.get_by_label("Day", exact=True).fill("2031-03-04")
        page.get_by_role("button", name="Plan the session").click()
        expect(page.get_by_role("status")).to_have_text("Session planned.")
        is_usable_at_any_width(page)

        # What each of them takes home.
        page.get_by_role("link", name="Hand-outs").click()
        own = page.get_by_role("article", name="Hand-out for K2")
        expect(own).to_contain_text("left out in 9 of the 12 changes")
        expect(own).to_contain_text("follow your programme's emergency protocol")
        is_usable_at_any_width(page)
        page.emulate_media(media="print")
        expect(page.get_by_role("button", name="Print 2 hand-outs")).to_be_hidden()
        page.emulate_media(media="screen")
        page.get_by_role("link", name="Back to the session").click()

        # Who came, all at once; the list shows it, and it can be undone.
        page.get_by_role("button", name="Everyone came: independent").click()
        page.get_by_label("Dressing change, K6").select_option("with_help")
        page.get_by_role("button", name="Record who came").click()
        expect(page.get_by_role("status")).to_contain_text("Marked: 2 caregivers.")
        is_usable_at_any_width(page)
        page.get_by_role("link", name="Back to retraining").click()
        expect(page.get_by_role("heading", name="Training sessions")).to_be_visible()
        assert listed(page) == ["F3", "F1"]
        page.get_by_label("Show", exact=True).select_option("watching")
        expect(page.locator("table.needs a.row-link").first).to_contain_text("F2")
        sessions = page.get_by_role("region", name="Training sessions")
        expect(sessions).to_contain_text("2 of 2 came")
        sessions.get_by_role("link").first.click()
        page.get_by_role("button", name="Undo what was marked here").click()
        expect(page.get_by_role("status")).to_contain_text("Undone")

        # Moved, and cancelled.
        page.get_by_role("link", name="Change or move").click()
        page.get_by_label("Day", exact=True).fill("2031-03-11")
        page.get_by_role("button", name="Save the change").click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("11 Mar 2031")
        page.get_by_role("button", name="Cancel the session").click()
        expect(page.get_by_text("This session is cancelled.")).to_be_visible()
        is_usable_at_any_width(page)
