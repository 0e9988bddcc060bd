"""One family's page: what happened, mark by mark, with the row behind each."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from tests.browser.small_programme import RECEIVED


def open_family(page: Page, running, family: str, query: str = "") -> None:
    page.goto(f"{running.address}/family/{family}{query}")
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Family {family}")
    expect(page.locator(".history .main-svg").first).to_be_visible()


def test_the_family_is_reached_from_the_list_and_leads_back(looking, looked_at):
    looking.goto(f"{looked_at.address}/?family=F5")
    looking.get_by_role("link", name="Full history").click()
    expect(looking.get_by_role("heading", level=1)).to_have_text("Family F5")
    expect(looking).to_have_title("Family F5 · linedays")
    expect(looking.locator(".summary")).to_contain_text(
        "It was due to be changed by 2 Mar, 2 days ago."
    )
    looking.get_by_role("link", name="Back to the call list").click()
    expect(looking.get_by_role("heading", name="Family F1")).to_be_visible()
    expect(looking).to_have_title("Calls for Tuesday 4 March 2031 · linedays")


def test_a_click_on_a_mark_shows_its_row_and_the_table_shows_the_same_by_keyboard(
    looking, looked_at
):
    open_family(looking, looked_at, "F1")
    expect(looking.locator(".summary")).to_have_text(
        "The dressing is in date until 6 Mar: last changed 27 Feb."
    )
    star = looking.locator(".scatterlayer .trace:has(text:has-text('fever')) .point").first
    star.click(force=True)
    shown = looking.locator(".shown-source")
    expect(shown).to_contain_text("home_log.csv, row 3")
    expect(shown).to_contain_text("felt hot in the night")
    looking.get_by_role("link", name="all", exact=True).focus()
    looking.keyboard.press("Enter")
    expect(looking).to_have_url(f"{looked_at.address}/family/F1?time=all")
    expect(looking.locator("[data-key=time-all]")).to_have_attribute("aria-current", "true")
    table = looking.get_by_role("region", name="The same as a table, newest first")
    for words in (
        "Red flag: fever; skin finding: redness; note: felt hot in the night.",
        "Child C1 away: hospital.",
        "Nothing logged.",
    ):
        expect(table.get_by_text(words, exact=True).first).to_be_visible()
    expect(looking.get_by_role("link", name="all", exact=True)).to_be_focused()
    button = table.get_by_role("button", name="Show entry of 20 Jan 2031 to 24 Jan 2031")
    button.focus()
    looking.keyboard.press("Enter")
    expect(looking.locator(".shown-source")).to_contain_text("stays.csv, row 2")
    looking.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    looking.emulate_media(media="print")
    expect(looking.locator(".history .main-svg").first).to_have_attribute("width", "680")


def test_a_recorded_call_is_a_mark_with_its_own_row(page, running):
    page.goto(f"{running.address}/?family=F2")
    page.get_by_role("radio", name="Yes, spoke with family").check()
    page.get_by_role("button", name="Record the call").click()
    expect(page.get_by_role("status").filter(has_text="Call recorded.")).to_be_visible()
    open_family(page, running, "F2")
    expect(page.locator(".summary")).to_have_text(
        "The dressing is 5 days overdue: last changed 20 Feb, due by 27 Feb."
    )
    page.get_by_role("button", name="Show entry of 4 Mar 2031: call, reached (by N1)").click()
    expect(page.locator(".shown-source")).to_contain_text("recorded here on 4 Mar 2031, 09:00")
    calls = page.get_by_role("region", name="Calls to this family")
    expect(calls.get_by_text("N1: reached the family; call again on 6 Mar")).to_be_visible()


def test_a_nurse_turns_the_page_back_and_reads_the_row_behind_a_mark(watched, running, tmp_path):
    page = watched.page(390)
    with Store.open(running.store_url, create=False) as store:
        file = tmp_path / "corrections.csv"
        file.write_text(
            "entry_id,line_id,done_at,kind,findings,note,received_at\n"
            "c1,L2,2031-02-25,skin_check,redness,first said,2031-02-25T18:00\n"
            "c1,L2,2031-02-25,skin_check,none,then said,2031-03-04T07:00\n"
        )
        ingest(store, [file], shipped_policy(), received_at=RECEIVED, table="home_log")
    open_family(page, running, "F2")
    table = page.get_by_role("region", name="The same as a table, newest first")
    expect(table.get_by_text("Looked, nothing seen; note: then said.")).to_be_visible()
    table.get_by_role("button", name="Show entry of 25 Feb 2031").click()
    expect(page.locator(".shown-source")).to_contain_text("corrections.csv, row 3")
    expect(page.locator(".shown-source")).to_contain_text("Earlier versions of this entry")
    expect(page.locator(".shown-source")).to_contain_text("first said")
    page.get_by_label("View an earlier day").fill("2031-03-03")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.get_by_role("note")).to_contain_text(
        "This page shows Monday 3 March 2031, not today."
    )
    expect(page).to_have_url(f"{running.address}/family/F2?known=2031-03-03&time=weeks")
    expect(page.locator(".data-line")).to_contain_text("Monday 3 March 2031")
    finding = page.locator(".scatterlayer .trace path.point[style*='rgb(123, 47, 107)']").first
    finding.click(force=True)
    expect(page.locator(".shown-source")).to_contain_text("corrections.csv, row 2")
    expect(page.locator(".shown-source")).to_contain_text("first said")
    expect(page.locator(".shown-source")).not_to_contain_text("then said")
    page.get_by_role("link", name="6 months").click()
    expect(page.get_by_role("note")).to_contain_text("This page shows Monday 3 March 2031")
    page.get_by_role("link", name="Back to 4 Mar").click()
    expect(page.get_by_text("then said").first).to_be_visible()
    expect(page.get_by_role("note")).to_have_count(0)
