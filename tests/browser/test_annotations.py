"""Infection prevention notes what changed, sees it on the chart, and removes it again."""

from __future__ import annotations

import shutil

from playwright.sync_api import expect

from analysis.vocabulary import Role
from tests.browser.conftest import serving, signed_in, watching


def test_prevention_adds_a_note_to_the_rates_and_removes_it(browser, small_store, tmp_path):
    file = shutil.copy(small_store, tmp_path / "store.sqlite")
    with (
        serving(file, signed_in(file, "P1", Role.PREVENTION)) as running,
        watching(browser, running.token) as watched,
    ):
        page = watched.page(390)
        page.goto(f"{running.address}/rates")
        expect(page.get_by_text("No notes yet.")).to_be_visible()
        page.get_by_text("Add a note to the chart").click()
        page.get_by_label("Day", exact=True).fill("2031-02-10")
        page.get_by_label("Site", exact=True).select_option("North")
        page.get_by_label("What happened").fill("new antiseptic")
        page.get_by_role("button", name="Add note").focus()
        page.keyboard.press("Enter")
        expect(page.get_by_role("status").filter(has_text="Note added")).to_be_visible()
        table = page.get_by_role("region", name="Events on the chart")
        row = table.get_by_role("row").nth(1)
        for text in ("A", "10 Feb 2031", "North", "new antiseptic", "P1, 4 Mar 2031"):
            expect(row).to_contain_text(text)
        chart = page.locator(".history").first
        expect(chart.locator(".annotation-text", has_text="A").first).to_be_visible()
        page.emulate_media(media="print")
        expect(row).to_be_visible()
        expect(page.get_by_text("Add a note to the chart")).to_be_hidden()
        page.emulate_media(media="screen")
        page.get_by_role("button", name="Remove mark A: new antiseptic").click()
        expect(page.get_by_role("status").filter(has_text="Note removed")).to_be_visible()
        expect(page.get_by_text("No notes yet.")).to_be_visible()
