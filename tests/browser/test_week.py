"""A person reads the summary of last week, goes back a week, and downloads it."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.browser.conftest import watching


def test_the_summary_of_a_past_week_is_read_and_downloaded(browser, looked_at):
    with watching(browser, looked_at.token) as watched:
        page = watched.page(390)
        page.goto(f"{looked_at.address}/week")
        title = page.get_by_role("heading", level=1)
        last = title.text_content()
        expect(page.get_by_role("heading", name="In brief")).to_be_visible()
        page.get_by_role("link", name="Week before").click()
        expect(title).not_to_have_text(str(last))
        expect(page.get_by_role("link", name="Week after")).to_be_visible()
        page.get_by_label("Summary for").select_option(label="infection prevention")
        expect(page.get_by_text("For the team only")).to_be_visible()
        pdf = page.get_by_role("link", name="PDF")
        expect(pdf).to_have_attribute("href", re.compile("for=prevention"))
        with page.expect_download() as taken:
            pdf.click()
        assert taken.value.suggested_filename.endswith("-prevention-team.pdf")
        page.emulate_media(media="print")
        expect(page.get_by_role("complementary", name="Cautions")).to_be_visible()
        expect(page.get_by_label("Week", exact=True)).to_be_hidden()
        expect(page.get_by_role("heading", name="In brief")).to_be_visible()
