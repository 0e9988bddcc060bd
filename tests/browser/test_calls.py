"""A home-care nurse manager's morning: who first, why, call, and which families wait."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

from playwright.sync_api import Locator, Page, expect

from analysis.vocabulary import Role
from tests.browser.conftest import PASSWORD, serving, signed_in, watching
from tests.browser.test_accessible import breaks_no_rule


def open_calls(page: Page, running, query: str = "") -> None:
    page.goto(f"{running.address}/{query}")
    expect(page.get_by_role("heading", level=1)).to_have_text("Calls for Tuesday 4 March 2031")


def lists(page: Page, families: list[str]) -> None:
    links = page.locator("table.calls a.row-link")
    expect(links).to_have_text(families, use_inner_text=True)


def row(page: Page, family: str):
    of_list = page.locator("table.calls").get_by_role("row")
    return of_list.filter(has=page.get_by_role("link", name=family, exact=True))


def panel(page: Page):
    return page.get_by_role("region", name="Open family")


def fill_form(page: Page, *, reached: bool = True, agreed: str = "will change it today") -> None:
    name = "Yes, spoke with family" if reached else "No answer"
    page.get_by_role("radio", name=name).check()
    if agreed:
        page.get_by_label("What was agreed").fill(agreed)


def record(page: Page) -> None:
    page.get_by_role("button", name="Record the call").click()


def counts_one(page: Page, band: str) -> None:
    link = page.get_by_role("navigation", name="Bands").get_by_role("link", name=band)
    expect(link).to_have_text(re.compile(rf"^1\s*{band}"), use_inner_text=True)


def test_the_list_says_who_is_first_and_why_and_the_panel_shows_the_row_that_proves_it(
    looking, looked_at
):
    open_calls(looking, looked_at)
    expect(looking.get_by_role("alert")).to_have_count(0)
    answer = looking.locator(".answer")
    expect(answer).to_contain_text("First: family F1. Fever, reported 3 Mar")
    lists(looking, ["F1", "F3", "F2", "F5", "F6"])
    headings = looking.get_by_role("heading", level=2).all_inner_texts()
    assert [h.strip() for h in headings if not h.startswith("Family")] == [
        "Same-day review 1 family",
        "Call today 3 families",
        "Call this week 1 family",
    ]
    table = looking.get_by_role("table", name="Families in calling order, most urgent first")
    expect(table).to_be_visible()
    for head in ("Order", "Family", "Why", "Overdue", "Last heard from", "Nurse and site"):
        expect(table.get_by_role("columnheader", name=head)).to_be_visible()
    expect(table.get_by_role("rowheader", name="F1")).to_be_visible()
    # A silent family is overdue or not logged; one that logs is overdue.
    expect(row(looking, "F3")).to_contain_text("7 days")
    expect(row(looking, "F3")).to_contain_text("or not logged")
    expect(row(looking, "F3")).to_contain_text("nothing for 14 days")
    expect(row(looking, "F2")).to_contain_text("5 days")
    expect(row(looking, "F2")).not_to_contain_text("or not logged")
    looking.get_by_text("How this list is made").click()
    expect(looking.locator(".coverage")).to_contain_text("1 of 6 families with a line at home")
    looking.get_by_role("link", name="F2", exact=True).click()
    expect(looking.get_by_role("heading", name="Family F2")).to_be_focused()
    proof = panel(looking).locator(".source").first
    expect(proof).to_contain_text("home_log.csv, row 4; received 3 Mar 2031, 20:00")
    expect(proof).to_contain_text("20 Feb 2031")
    expect(proof).to_contain_text("dressing change")
    expect(looking).to_have_url(re.compile(r"\?family=F2$"))


def test_a_recorded_call_lets_the_family_wait_until_it_is_undone(page, running):
    open_calls(page, running)
    page.get_by_role("link", name="F2", exact=True).click()
    expect(page.get_by_role("heading", name="Family F2")).to_be_visible()
    expect(page.locator("#recheck-on")).to_have_value("2031-03-06")
    expect(panel(page)).to_contain_text("Recorded as N1.")
    fill_form(page)
    record(page)
    said = panel(page).get_by_role("status")
    expect(said).to_contain_text("Call recorded. F2 comes back on the list on 6 Mar.")
    expect(said).to_be_focused()
    expect(said.get_by_role("link", name="Next: family F1")).to_be_visible()
    lists(page, ["F1", "F3", "F5", "F6", "F2"])
    expect(row(page, "F2")).to_contain_text("Call again on 6 Mar.")
    counts_one(page, "Waiting")
    calls = running.records().calls
    assert list(calls["family_id"]) == ["F2"]
    assert list(calls["called_by"]) == ["N1"]
    assert list(calls["outcome"]) == ["reached"]
    assert list(calls["agreed"]) == ["will change it today"]
    assert f"{calls['called_on'].iloc[0]:%Y-%m-%d}" == "2031-03-04"
    page.get_by_role("button", name="Undo this call").click()
    expect(said).to_contain_text("The call to F2 was undone.")
    lists(page, ["F1", "F3", "F2", "F5", "F6"])
    assert len(running.records().calls) == 0

    # Sent twice it is one call, which is undone where the calls of the day are listed.
    fill_form(page)
    page.get_by_role("button", name="Record the call").dblclick()
    expect(said).to_contain_text("F2 comes back on the list")
    assert len(running.records().calls) == 1
    done = page.get_by_role("region", name="Done today 1 call")
    expect(done).to_contain_text("09:00, N1: reached the family")
    expect(done).to_contain_text("will change it today")
    expect(done).to_contain_text("on 6 Mar")
    counts_one(page, "Done today")
    done.get_by_role("button", name="Undo the call to family F2").click()
    expect(panel(page).get_by_role("status")).to_contain_text("was undone")
    expect(done).to_have_count(0)
    lists(page, ["F1", "F3", "F2", "F5", "F6"])
    assert len(running.records().calls) == 0


def test_a_call_on_which_nobody_was_reached_leaves_a_red_flag_first(page, running):
    open_calls(page, running)
    fill_form(page, reached=False, agreed="")
    record(page)
    said = panel(page).get_by_role("status")
    expect(said).to_contain_text("F1 stays on the list.")
    expect(page.locator("table.calls a.row-link").first).to_have_text("F1")


def test_a_form_that_does_not_fit_is_told_in_a_sentence_and_kept(looking, looked_at):
    open_calls(looking, looked_at, "?family=F2")
    record(looking)
    question = looking.get_by_role("group", name="Did you reach the family?")
    expect(question.get_by_text("Choose whether you reached the family.")).to_be_in_viewport()
    expect(looking.get_by_role("radio").first).to_be_focused()
    fill_form(looking)
    for day, said in (("2031-03-01", "Choose a day from 4 Mar 2031 to"), ("", "as a date")):
        looking.locator("#recheck-on").fill(day)
        record(looking)
        field = looking.locator(".field").filter(has=looking.locator("#recheck-on"))
        expect(field.locator(".fault")).to_contain_text(said)
        expect(field.locator(".fault")).to_be_in_viewport()
        expect(looking.locator("#recheck-on")).to_be_focused()
        expect(looking.get_by_role("alert").filter(has_text=said)).to_have_count(1)  # read aloud
        expect(looking.get_by_label("What was agreed")).to_have_value("will change it today")
    assert len(looked_at.records().calls) == 0


def test_filters_keep_the_rank_and_what_is_typed_and_the_address_brings_them_back(page, running):
    open_calls(page, running)
    page.get_by_text("Agreed, time").click()
    page.get_by_label("What was agreed").fill("half a sentence")
    page.get_by_label("Nurse", exact=True).select_option("N1")
    expect(page.locator("table.calls a.row-link")).to_have_count(3)
    expect(page.get_by_label("What was agreed")).to_have_value("half a sentence")
    page.get_by_label("What was agreed").fill("")
    page.get_by_label("Nurse", exact=True).select_option("")
    expect(page.locator("table.calls a.row-link")).to_have_count(5)
    page.get_by_label("Site", exact=True).select_option("South")
    expect(page.locator("table.calls a.row-link")).to_have_count(2)
    lists(page, ["F3", "F5"])
    assert row(page, "F5").get_by_role("cell").first.inner_text() == "4"
    expect(page).to_have_url(re.compile("site=South"))
    page.reload()
    expect(page.locator("table.calls a.row-link")).to_have_count(2)
    expect(page.get_by_label("Site", exact=True)).to_have_value("South")
    page.go_back()
    expect(page.locator("table.calls a.row-link")).to_have_count(5)
    page.get_by_label("Language").select_option("Finnish")
    expect(page.locator("table.calls a.row-link")).to_have_count(1)
    lists(page, ["F1"])
    # What is saved is what the command writes.
    with page.expect_download() as started:
        page.get_by_role("button", name="Save as CSV").click()
    file = started.value
    assert file.suggested_filename == "calls-2031-03-04.csv"
    text = Path(file.path()).read_text(encoding="utf-8")
    assert [line.split(",")[1] for line in text.splitlines()] == ["family_id", "F1"]
    page.get_by_label("Language").select_option("")
    expect(page.locator("table.calls a.row-link")).to_have_count(5)
    page.get_by_role("navigation", name="Bands").get_by_role("link", name="Call today").click()
    expect(page.locator("table.calls a.row-link")).to_have_count(3)
    lists(page, ["F3", "F2", "F5"])


def test_a_line_in_the_list_says_where_todays_calls_end(watched, store_file, tmp_path):
    policy = tmp_path / "two.toml"
    edition = '[[edition]]\nversion = "two"\neffective_from = 2031-01-01\n[edition.settings]\n'
    policy.write_text(edition + 'calls_a_day = { value = 2, source = "our team" }\n')
    with serving(store_file, policy_file=policy) as running:
        page = watched.page()
        open_calls(page, running)
        expect(page.locator(".capacity")).to_have_text(
            "5 families to call; capacity for 4 calls today (2 nurses x 2). 1 is beyond today's calls."
        )
        rows = page.locator("table.calls tbody:not(.band-head) tr").all_inner_texts()
        assert ["Daily limit reached" in text for text in rows] == [*[False] * 4, True, False]
        page.context.close()


def test_keyboard_alone_opens_a_family_and_records_a_call(page, running):
    open_calls(page, running)
    page.get_by_text("Keys", exact=True).click()
    expect(page.get_by_text("opens, ")).to_be_visible()
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.className") == "row-link":
            break
    expect(page.get_by_role("link", name="F1", exact=True)).to_be_focused()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    expect(page.get_by_role("link", name="F2", exact=True)).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Family F2")).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.get_by_role("link", name="F2", exact=True)).to_be_focused()
    page.keyboard.press("End")
    expect(page.get_by_role("link", name="F6", exact=True)).to_be_focused()
    page.keyboard.press("Home")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Family F2")).to_be_focused()
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.type") == "radio":
            break
    page.keyboard.press("Space")
    expect(page.get_by_role("radio", name="Yes, spoke with family")).to_be_checked()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.type("change it this evening")
    page.keyboard.press("Control+Enter")
    expect(panel(page).get_by_role("status")).to_be_focused()
    calls = running.records().calls
    assert list(calls["called_by"]) == ["N1"]
    assert list(calls["agreed"]) == ["change it this evening"]


def follow(page: Page, *, typed: bool = False) -> None:
    """What the page does by itself every 20 seconds."""
    data = {"at": page.evaluate("Date.now()"), "typed": typed}
    page.evaluate("data => dash_clientside.set_props('looked', {data})", data)


def test_two_people_at_one_family_see_each_other(browser, running, watched, store_file):
    with watching(browser, signed_in(store_file, "N2", Role.MANAGER)) as others:
        other = others.page()
        open_calls(other, running, "?family=F2")
        mine = watched.page()
        open_calls(mine, running, "?family=F2")
        expect(panel(mine)).to_contain_text("N2 opened this family at 09:00.")
        fill_form(mine, agreed="will ask the ward")
        fill_form(other)
        record(other)
        expect(panel(other).get_by_role("status").last).to_contain_text("Call recorded.")
        # What is typed stays; what the other person did shows above it, and again when it is sent.
        follow(mine, typed=True)
        expect(panel(mine).locator(".others")).to_contain_text(
            "N2 recorded a call to this family at 09:00: reached the family."
        )
        expect(mine.get_by_label("What was agreed")).to_have_value("will ask the ward")
        expect(row(mine, "F2")).to_contain_text("Call again on")
        record(mine)
        expect(panel(mine).locator(".fault.at-field")).to_contain_text(
            "Record it again if you called"
        )
        assert len(running.records().calls) == 1
        record(mine)
        expect(panel(mine).get_by_role("status").last).to_contain_text("Call recorded.")
        assert list(running.records().calls["called_by"]) == ["N2", "N1"]
        # A form in which nothing is typed is simply made again.
        follow(other)
        expect(panel(other)).to_contain_text("will ask the ward")


def test_a_time_of_the_call_is_kept_and_the_next_family_is_one_key_away(page, running):
    open_calls(page, running, "?family=F2")
    fill_form(page)
    page.get_by_label("Time of the call").fill("09:30")
    record(page)
    expect(panel(page).locator(".fault.at-field")).to_have_text("Enter a time up to now, 09:00.")
    page.get_by_label("Time of the call").fill("08:40")
    record(page)
    expect(panel(page).get_by_role("status").last).to_be_focused()
    assert f"{running.records().calls['called_at'].iloc[0]:%H:%M}" == "08:40"
    page.keyboard.press("n")
    expect(page.get_by_role("heading", name="Family F1")).to_be_focused()
    expect(page.locator("#agreed")).to_have_value("")
    page.keyboard.press("n")
    expect(page.get_by_role("heading", name="Family F3")).to_be_focused()


def test_a_draft_outlives_the_sign_in_without_its_note(watched, running):
    watched.expected += ["401", "body stream already read"]
    page = watched.page()
    open_calls(page, running, "?family=F2")
    fill_form(page, agreed="asked for the blue room")
    page.get_by_label("Time of the call").fill("08:40")
    page.get_by_role("link", name="F3", exact=True).click()
    expect(page.get_by_role("heading", name="Family F3")).to_be_visible()
    page.get_by_role("link", name="F2", exact=True).click()
    expect(page.get_by_label("What was agreed")).to_have_value("asked for the blue room")

    # The sign-in ends: the page with the note stays for a while, and nothing of it is stored.
    page.context.clear_cookies(name="linedays_sign_in")
    record(page)
    expect(page.get_by_role("link", name="Sign in again in a new tab")).to_be_visible()
    assert "blue room" not in page.evaluate("JSON.stringify({...sessionStorage, ...localStorage})")
    page.evaluate("linedays_drafts.leave()")
    page.goto(f"{running.address}/sign-in?to=%2F%3Ffamily%3DF2&draft=note")
    page.get_by_label("Staff code").fill("N1")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator(".draft")).to_contain_text("Not recorded yet")
    expect(page.locator(".draft")).to_contain_text("The note is gone")
    expect(page.get_by_role("radio", name="Yes, spoke with family")).to_be_checked()
    expect(page.get_by_label("Time of the call")).to_have_value("08:40")
    expect(page.get_by_label("What was agreed")).to_have_value("")
    record(page)
    expect(panel(page).get_by_role("status").last).to_contain_text("Call recorded.")
    page.wait_for_function("sessionStorage.getItem('linedays-draft') === null")


def test_a_dashboard_that_was_started_anew_asks_for_a_reload(page, running, watched):
    open_calls(page, running)
    # Dash itself tries to read a refusal's text twice.
    watched.expected += ["status of 400", "body stream already read"]
    page.context.clear_cookies(name="linedays_session")
    page.get_by_role("link", name="F2", exact=True).click()
    trouble = page.get_by_role("alert").filter(has_text="out of date")
    expect(trouble).to_be_visible()


def says_the_cautions(where: Locator) -> None:
    expect(where).to_be_visible()
    for words in (
        "does not diagnose",
        "your programme's emergency protocol",
        "Local policy, the child's orders and licensed practice",
        "not a submission to any registry",
    ):
        expect(where).to_contain_text(words)


def test_the_printed_sheet_has_boxes_to_tick_room_to_write_and_the_cautions(looking, looked_at):
    open_calls(looking, looked_at)
    says_the_cautions(looking.get_by_role("complementary", name="Cautions"))
    looking.keyboard.press("Tab")
    expect(looking.get_by_role("link", name="Skip to the page")).to_be_focused()
    looking.keyboard.press("Enter")
    expect(looking.locator("#main")).to_be_focused()
    sheet = looking.pdf(prefer_css_page_size=True)
    wide, high = re.findall(rb"/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]", sheet)[0]
    assert float(wide) > float(high)  # one line a family needs the longer side
    # The shorter of the two papers: Letter, 11 inches less two margins of 12 mm.
    looking.set_viewport_size({"width": 965, "height": 700})
    looking.emulate_media(media="print")
    says_the_cautions(looking.locator("table.calls tfoot"))  # which stands on every sheet
    expect(looking.locator("table.calls .box")).to_have_count(15)
    for box in looking.locator("table.calls .box").all():
        expect(box).to_be_visible()
    expect(looking.locator("table.calls td.write").first).to_be_visible()
    expect(panel(looking)).to_be_hidden()
    expect(looking.get_by_role("button", name="Print this sheet")).to_be_hidden()
    expect(looking.get_by_text("Nurse: all. Site: all. Bands: all to call.")).to_be_visible()
    assert looking.evaluate("document.documentElement.scrollWidth") <= 965
    for family in ("F1", "F6"):
        expect(row(looking, family)).to_be_visible()
    heads = looking.locator("table.calls thead th:visible").all_inner_texts()
    assert heads == [
        *("Order", "Family", "Why", "Nurse and site"),
        *("Outcome", "Agreed, call again on, initials"),
    ]
    assert "ward phone" not in looking.locator("body").inner_text()


def test_on_a_phone_a_family_opens_in_place_of_the_list_and_back(watched, running):
    page = watched.page(390, 844)
    open_calls(page, running)
    expect(page.get_by_role("heading", name="Family F1")).to_be_hidden()
    page.get_by_role("link", name="F2", exact=True).click()
    expect(page.get_by_role("heading", name="Family F2")).to_be_visible()
    expect(page.get_by_role("link", name="F3", exact=True)).to_be_hidden()
    fill_form(page)
    record(page)
    expect(panel(page).get_by_role("status")).to_contain_text("F2 comes back on the list")
    page.get_by_role("link", name="Back to the list").click()
    expect(row(page, "F2")).to_contain_text("Call again on 6 Mar.")


def test_a_past_day_is_to_read_only(running_on, page):
    running = running_on(date(2031, 3, 3))
    page.goto(running.address)
    expect(page.get_by_role("heading", level=1)).to_contain_text("Monday 3 March 2031")
    expect(panel(page)).to_contain_text("This page shows an earlier day.")
    expect(page.get_by_role("button", name="Record the call")).to_have_count(0)


def test_an_unknown_family_is_said_to_be_unknown(looking, looked_at):
    open_calls(looking, looked_at, "?family=F99")
    expect(looking.get_by_role("heading", name="No such family")).to_be_visible()
    looking.goto(f"{looked_at.address}/family/F99")
    expect(looking.get_by_role("heading", name="Page not found")).to_be_visible()
    assert re.search("No family has this code", looking.locator("main").inner_text())


def test_a_printed_list_is_typed_in_with_faults_at_their_fields(watched, running):
    watched.expected.append("status of 422")  # what is wrong is an answer
    page = watched.page(390)
    page.goto(f"{running.address}/calls/sheet?nurse=N1")
    page.get_by_role("combobox", name="Outcome, family F2").select_option("Reached")
    page.reload()
    expect(page.get_by_role("status")).to_contain_text("filled in again")
    page.get_by_role("button", name="Record all calls").click()
    time = page.get_by_label("Time, family F2")
    expect(time).to_have_accessible_description(re.compile("Enter the time of the call"))
    breaks_no_rule(page)
    for width in (390, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    time.fill("08:40")
    page.get_by_role("button", name="Record all calls").click()
    expect(page.get_by_role("status")).to_contain_text("1 call recorded.")
    assert list(running.records().calls["family_id"]) == ["F2"]
