"""An infection-prevention practitioner's morning: is harm drifting, where, and how sure is that?

The numbers follow from the rule of `larger_programmes`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Running, Watched, watching


@pytest.fixture
def watched(browser, rates) -> Iterator[Watched]:
    """Pages for a practitioner who has signed in to the programme of two sites."""
    with watching(browser, rates.token) as found:
        yield found


@pytest.fixture
def watched_dwell(browser, dwell) -> Iterator[Watched]:
    """The same for the programme of two line types."""
    with watching(browser, dwell.token) as found:
        yield found


def card(page: Page, heading: str):
    return page.locator("section.figure-card").filter(has=page.get_by_role("heading", name=heading))


def chooser(page: Page, name: str):
    return page.get_by_role("combobox", name=name, exact=True)


def choose(page: Page, name: str, value: str) -> None:
    chooser(page, name).select_option(value)


def open_rates(page: Page, running: Running) -> None:
    page.goto(f"{running.address}/rates")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    expect(page.locator(".history .main-svg").first).to_be_visible()


def test_the_page_shows_first_whether_the_rate_of_skin_events_changes(watched, rates):
    page = watched.page(390)
    page.goto(rates.address)
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Rates").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Rates: skin events")
    expect(page).to_have_title("Rates · linedays")
    answer = page.locator(".answer")
    expect(answer).to_contain_text("Skin events at North have risen")
    sites = card(page, "Skin events at each site")
    expect(sites.get_by_role("listitem").filter(has_text="South")).to_contain_text("signal")
    expect(sites.get_by_role("img")).to_have_count(3)
    changing = card(page, "Is the rate of skin events changing?")
    expect(changing).to_contain_text(re.compile(r"charts of \d+ months like this one would give"))
    choose(page, "Over time", "quarter")
    expect(changing).to_contain_text(re.compile(r"charts of \d+ quarters like this one would"))
    choose(page, "Over time", "month")
    expect(changing).to_contain_text(re.compile(r"charts of \d+ months like this one would give"))
    read = card(page, "Is the rate of skin events changing?").locator(".summary")
    expect(read).to_contain_text("most recently Jan 2031 (above the upper limit).")
    choose(page, "Limits from", "first")
    expect(read).to_contain_text(
        "Possible change: 1 of 13 months gives a signal on the control chart, most recently "
        "Jan 2031 (above the upper limit). Feb 2031 and Mar 2031 are still provisional."
    )
    # 4 events in each of 13 months and 24 in January, in 12 lines x 427 days.
    whole = page.locator(".whole")
    expect(whole).to_contain_text("76 events in 5\N{NARROW NO-BREAK SPACE}124 home line-days")
    expect(whole).to_contain_text("14.8 per 1000 home line-days (95 % limits 11.7 to 18.6)")
    expect(whole).to_contain_text("log coverage 100 %")
    expect(whole).to_contain_text("Home line-days, not an NHSN rate.")


def test_what_the_figures_show_is_narrowed_compared_in_words_and_explained(page, rates):
    open_rates(page, rates)
    drifting = card(page, "Is the rate of skin events changing?")
    drifting.get_by_text("The same as a table").click()
    january = drifting.get_by_role("row", name="Jan 2031")
    expect(january).to_contain_text("24")
    expect(january).to_contain_text("64.5")  # 24 in 12 x 31
    expect(january).to_contain_text("above the upper limit")
    expect(drifting.get_by_role("row", name="Mar 2031")).to_contain_text(
        "provisional: not over yet"
    )
    image = drifting.locator("[role=img][aria-label]")
    expect(image).to_have_attribute("aria-label", re.compile("over all complete months"))
    expect(drifting.locator(".history")).to_contain_text("provisional")

    # A site is opened, narrowed, saved and closed.
    card(page, "Skin events at each site").get_by_role("link", name="Open South").click()
    behind = card(page, "South: what is behind it?")
    expect(behind).to_contain_text("Families with skin events since")
    expect(behind.get_by_role("region", name="Nurse before and after")).to_have_count(0)
    expect(behind.get_by_role("region", name="Nurse before and since")).to_be_visible()
    expect(chooser(page, "Only site")).to_have_value("South")
    expect(page.get_by_text("Figures below show only: site South.")).to_be_visible()
    # South has 39 + 12 events of 76.
    expect(page.locator(".whole")).to_contain_text("51 events in 2")
    with page.expect_download() as saved:
        behind.get_by_role("button", name="CSV", exact=True).click()
    assert saved.value.suggested_filename == "south-what-is-behind-it.csv"
    for form in ("PNG", "SVG"):
        for heading in ("Skin events at each site", "Is the rate of skin events changing?"):
            with page.expect_download() as saved:
                card(page, heading).get_by_role("button", name=form, exact=True).click()
            assert saved.value.suggested_filename.endswith(f".{form.lower()}")
    card(page, "Skin events at each site").get_by_role("link", name="Close South").click()
    expect(behind).to_have_count(0)
    expect(page.locator(".whole")).to_contain_text("76 events in 5")

    # The funnel shows sites that differ, and does not rank them.
    funnel = card(page, "Is any site different from the rest?")
    expect(funnel).to_contain_text("A funnel does not rank sites.")
    expect(funnel.locator(".history")).to_contain_text("North")
    expect(funnel.locator(".history")).to_contain_text("99.8 % limit")

    # Two sites, with both ways of counting.
    choose(page, "First", "South")
    compared = card(page, "Compare two sites")
    # Complete months, to January: South 36 + 12, North 12 + 12, on equal line-days: 48 / 24.
    expect(compared.locator(".summary")).to_contain_text("South has 2.00 times the rate of North")
    expect(compared.locator(".summary")).to_contain_text("higher by more than chance")
    expect(compared.get_by_role("row", name="Exact, events independent")).to_contain_text("2.00")
    expect(
        compared.get_by_role("row", name="Poisson regression, errors clustered by family")
    ).to_contain_text("2.00")
    expect(compared.get_by_role("row", name="North")).to_contain_text("24")
    expect(compared).to_contain_text("Log coverage")
    expect(chooser(page, "First")).to_be_focused()
    expect(page).to_have_url(re.compile("first=South"))

    # A period, with the time before it.
    choose(page, "After-period starts", "2031-01")
    before = card(page, "Before and after")
    expect(before.locator(".summary")).to_contain_text(
        "Jan 2031 has 5.89 times the rate of Jan 2030 to Dec 2030"  # 24 / 372 over 48 / 4380
    )
    expect(before).to_contain_text("chosen after looking at the chart")

    # A figure leads to the paragraph that explains it.
    page.get_by_role("link", name="How the chart is calculated").click()
    explained = page.locator("#control_chart")
    expect(explained).to_be_in_viewport()
    expect(explained).to_contain_text("nine in a row on one side")
    expect(explained).to_contain_text("Answer: 9.8, 30.0.")


def test_an_event_that_never_happened_has_an_upper_limit_and_no_chart_limits(page, rates):
    open_rates(page, rates)
    choose(page, "Event", "bloodstream_infection")
    expect(page.get_by_role("heading", level=1)).to_have_text("Rates: bloodstream infection")
    expect(chooser(page, "Line-days")).to_have_value("child")
    expect(page.locator(".whole")).to_contain_text("no events in 5")
    expect(page.locator(".whole")).to_contain_text("at most 0.72 per 1000")  # 3.689 / 5.124
    read = card(page, "Is the rate of bloodstream infection changing?").locator(".summary")
    expect(read).to_contain_text("Too few events to say")
    sites = card(page, "Bloodstream infection at each site")
    expect(sites.get_by_role("listitem").first).to_contain_text("Too few events to say")
    silence = card(page, "Could missing logs change the rate?")
    expect(silence).to_contain_text("does not depend on whether a family logs")


def test_dwell_time_by_line_type_is_read_with_numbers_at_risk(watched_dwell, dwell):
    page = watched_dwell.page(390)
    page.goto(f"{dwell.address}/dwell")
    choose(page, "Show", "line_type")
    expect(page.get_by_role("heading", level=1)).to_have_text("Dwell time, by line type")
    in_place = card(page, "How many lines are still in place?")
    expect(in_place.locator(".summary")).to_contain_text("PICC 50 % by day 62")
    expect(in_place.locator(".summary")).to_contain_text("tunneled line 83 % by day 62")
    drawn = in_place.locator(".history")
    expect(drawn).to_contain_text("Lines at risk")
    expect(drawn).to_contain_text("days since placement")
    expect(drawn).to_contain_text("PICC")
    unplanned = card(page, "How many lines had an unplanned removal?")
    expect(unplanned.locator(".summary")).to_contain_text("PICC 50 %")
    expect(unplanned.locator(".summary")).to_contain_text("tunneled line 0 %")
    words = card(page, "In words and numbers")
    expect(words).to_contain_text("Unplanned removal, by line type: the line types differ")
    expect(words).to_contain_text(
        "the test counts the family once: families are the independent units"
    )
    hazard = card(page, "Are unplanned removals more frequent while the dressing is out of date?")
    expect(hazard).to_contain_text("6 of 6 unplanned removals")


def test_a_practitioner_s_morning_from_the_signal_to_its_closing(watched, rates):
    page = watched.page(390)
    open_rates(page, rates)
    signal = page.get_by_role("listitem").filter(
        has=page.get_by_role("heading", name="Skin events, North")
    )
    form = signal.get_by_role("form", name="Skin events, North")
    details = signal.locator("details")
    said = page.locator("#signal-message")
    expect(details).to_be_visible()
    details.evaluate("one => { one.open = true; }")
    form.get_by_label("State").select_option("being_looked_into")
    form.get_by_label("Owner").fill("P1")
    form.get_by_label("Note").fill("Asked the ward")
    form.get_by_role("button", name="Save").click()
    expect(said).to_have_text("Saved: Skin events, North is being looked into.")
    expect(signal).to_contain_text("being looked into (P1). Asked the ward")
    details.evaluate("one => { one.open = true; }")
    form.get_by_label("State").select_option("closed")
    form.get_by_label("Note").fill("")
    form.get_by_role("button", name="Save").click()
    expect(said).to_have_text("Write why the signal is closed.")
    form.get_by_label("Note").fill("One family, trained again")
    form.get_by_role("button", name="Save").click()
    expect(said).to_have_text("Saved: Skin events, North is closed.")
    expect(page.locator(".answer")).not_to_contain_text("Skin events at North have")
    # Opened again for the next test.
    details.evaluate("one => { one.open = true; }")
    form.get_by_label("State").select_option("new")
    form.get_by_role("button", name="Save").click()
    expect(page.locator(".answer")).to_contain_text("Skin events at North have")
    page.evaluate("window.print = () => { document.title = 'printed'; }")
    page.get_by_role("button", name="Print").click()
    expect(page).to_have_title("printed")
