"""An infection-prevention practitioner's morning: is harm drifting, where, and how sure is that?

Twelve lines, six at North and six at South, are at home from 1 January 2030 and logged every
week. In each month North has one skin event and South three; in January 2031 every line has
two. Looked at on 4 March 2031: 427 days, 5124 home line-days.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from tests.browser.conftest import Running, serving

expect.set_options(timeout=15_000)  # a choice works out every table of the page anew
HEAD = "line_id,child_id,family_id,site,line_type,home_from,placed_on,dressing_type,dressing_on"
FIRST = date(2030, 1, 1)
NARROW = (390, 320)
PAGES = {"rates": "/rates", "dwell": "/dwell?by=line_type", "whole": "/dwell"}
RULES = {
    "runOnly": [
        *("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"),
        "best-practice",
    ]
}


def findings() -> dict[date, list[str]]:
    """Lines with redness by day: the rule of the module's first sentence."""
    found: dict[date, list[str]] = {}
    for month in (*range(12), 13):
        year, number = 2030 + month // 12, month % 12 + 1
        found[date(year, number, 10)] = [f"N{month % 6}"]
        for at, day in enumerate((5, 15, 25)):
            found[date(year, number, day)] = [f"S{(month + at) % 6}"]
    for day in (3, 20):
        found[date(2031, 1, day)] = [f"{site}{at}" for site in "NS" for at in range(6)]
    return found


def home_log(week: date) -> list[str]:
    """One dressing change a line, on the first day of the week, and the findings of its days."""
    lines = [f"{site}{at}" for site in "NS" for at in range(6)]
    rows = [f"{line},F-{line},{week},dressing_change,none" for line in lines]
    seen = findings()
    for day in (week + timedelta(days=d) for d in range(7)):
        rows += [f"{line},F-{line},{day},skin_check,redness" for line in seen.get(day, [])]
    return rows


def take_in(store: Store, folder: Path, name: str, text: str, received: datetime) -> None:
    file = folder / f"{name}.csv"
    file.write_text(text, encoding="utf-8")
    table = "lines" if name.startswith("lines") else "home_log"
    told = ingest(store, [file], shipped_policy(), table=table, received_at=received)
    assert (told.refused, told.faults) == (0, ())


@pytest.fixture(scope="session")
def two_sites(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("two-sites")
    rows = [HEAD]
    for site, name in (("N", "North"), ("S", "South")):
        rows += [
            f"{site}{at},C-{site}{at},F-{site}{at},{name},tunneled_cvc,{FIRST},{FIRST},"
            f"transparent,{FIRST}"
            for at in range(6)
        ]
    file = folder / "store.sqlite"
    log_head = "line_id,family_id,done_at,kind,findings\n"
    weeks = [FIRST + timedelta(days=7 * at) for at in range(61)]
    with Store.open(f"sqlite:///{file}") as store:
        day = datetime(2030, 1, 1, 20, tzinfo=UTC)
        take_in(store, folder, "lines", "\n".join(rows), day)
        # The older weeks in one file; the last ones each at its end, as families send them.
        old, new = weeks[:31], weeks[31:]
        log = [row for week in old for row in home_log(week)]
        take_in(store, folder, "log-old", log_head + "\n".join(log), day + timedelta(days=220))
        for week in new:
            ends = datetime(week.year, week.month, week.day, 20, tzinfo=UTC) + timedelta(days=6)
            text = log_head + "\n".join(home_log(week))
            take_in(store, folder, f"log-{week}", text, ends)
    return file


@pytest.fixture(scope="session")
def two_types(tmp_path_factory) -> Path:
    """Twelve PICCs, six pulled out on day 10; twelve tunneled lines, two planned ends on day 30."""
    folder = tmp_path_factory.mktemp("two-types")
    rows = [HEAD + ",removed_on,removal_reason"]
    for kind, ends in (
        ("picc", ["2031-01-11,dislodgement"] * 6),
        ("tunneled_cvc", ["2031-01-31,therapy_complete"] * 2),
    ):
        rows += [
            f"{kind}{at},C{kind}{at},F{kind}{at},North,{kind},2031-01-01,2031-01-01,transparent,"
            f"2031-01-01,{ends[at] if at < len(ends) else ','}"
            for at in range(12)
        ]
    file = folder / "store.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        received = datetime(2031, 3, 3, 20, tzinfo=UTC)
        take_in(store, folder, "lines", "\n".join(rows), received)
    return file


@pytest.fixture
def rates(two_sites) -> Iterator[Running]:
    with serving(two_sites, demo=True) as found:
        yield found


@pytest.fixture
def dwell(two_types) -> Iterator[Running]:
    with serving(two_types, demo=True) as found:
        yield found


def card(page: Page, heading: str):
    return page.locator("section.figure-card").filter(has=page.get_by_role("heading", name=heading))


def chooser(page: Page, name: str):
    return page.get_by_role("combobox", name=name, exact=True)


def choose(page: Page, name: str, value: str) -> None:
    chooser(page, name).select_option(value)


def open_page(page: Page, running: Running, name: str) -> None:
    page.goto(running.address + PAGES[name])
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    expect(page.locator(".history .main-svg").first).to_be_visible()


@pytest.mark.parametrize("width", [1440, 390])
def test_the_page_says_first_whether_skin_events_are_drifting(watched, rates, width):
    page = watched.page(width)
    page.goto(rates.address)
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Rates").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Rates: skin events")
    expect(page).to_have_title("Rates · linedays")
    answer = page.locator(".answer")
    expect(answer).to_contain_text("the newest Jan 2031, above the upper limit.")
    choose(page, "Limits from", "first")
    expect(answer).to_have_text(
        "Look into it: 1 of 13 settled months breaks a rule of the chart, the newest Jan 2031, "
        "above the upper limit. 2 months are still provisional."
    )
    # 4 events in each of 13 months and 24 in January, in 12 lines x 427 days.
    whole = page.locator(".whole")
    expect(whole).to_contain_text("76 events in 5\N{NARROW NO-BREAK SPACE}124 home line-days")
    expect(whole).to_contain_text("14.8 per 1000 home line-days (95 % limits 11.7 to 18.6)")
    expect(whole).to_contain_text("log coverage 100 %")
    expect(whole).to_contain_text("Home line-days, not an NHSN rate.")


def test_the_table_under_the_chart_holds_its_numbers_and_names_what_is_provisional(page, rates):
    open_page(page, rates, "rates")
    drifting = card(page, "Is the rate of skin events drifting from month to month?")
    drifting.get_by_text("The same as a table").click()
    january = drifting.get_by_role("row", name="Jan 2031")
    expect(january).to_contain_text("24")
    expect(january).to_contain_text("64.5")  # 24 in 12 x 31
    expect(january).to_contain_text("above the upper limit")
    expect(drifting.get_by_role("row", name="Mar 2031")).to_contain_text(
        "provisional: month not over"
    )
    image = drifting.locator("[role=img][aria-label]")
    expect(image).to_have_attribute("aria-label", re.compile("Trend over all months"))
    expect(drifting.locator(".history")).to_contain_text("provisional")


@pytest.mark.parametrize("width", [1440, 390])
def test_two_sites_are_compared_in_words_with_both_ways_of_counting(watched, rates, width):
    page = watched.page(width)
    open_page(page, rates, "rates")
    choose(page, "First", "South")
    compared = card(page, "Do two of them differ, by site?")
    # South 39 + 12, North 13 + 12, on equal line-days: 51 / 25.
    expect(compared.locator(".summary")).to_contain_text("South has 2.04 times the rate of North")
    expect(compared.locator(".summary")).to_contain_text("higher by more than chance")
    expect(compared.get_by_role("row", name="exact, events independent")).to_contain_text("2.04")
    expect(
        compared.get_by_role("row", name="Poisson regression, errors clustered by family")
    ).to_contain_text("2.04")
    expect(compared.get_by_role("row", name="North")).to_contain_text("25")
    expect(compared).to_contain_text("Log coverage")
    expect(chooser(page, "First")).to_be_focused()
    assert "first=South" in page.url


def test_a_spell_is_compared_with_the_time_before_it(page, rates):
    open_page(page, rates, "rates")
    choose(page, "Later spell begins with the month", "2031-01")
    spells = card(page, "Did the rate change from one spell to the next?")
    expect(spells.locator(".summary")).to_contain_text(
        "Jan 2031 has 5.89 times the rate of Jan 2030 to Dec 2030"  # 24 / 372 over 48 / 4380
    )
    expect(spells).to_contain_text("chosen after looking at the chart looks surer than it is")


def test_an_event_that_never_happened_has_an_upper_limit_and_no_chart_limits(page, rates):
    open_page(page, rates, "rates")
    choose(page, "Event", "bloodstream_infection")
    expect(page.get_by_role("heading", level=1)).to_have_text("Rates: bloodstream infection")
    expect(chooser(page, "Home line-days")).to_have_value("child")
    expect(page.locator(".whole")).to_contain_text("no event in 5")
    expect(page.locator(".whole")).to_contain_text("at most 0.72 per 1000")  # 3.689 / 5.124
    expect(page.locator(".answer")).to_contain_text("Nothing to chart: no event")
    silence = card(page, "Could silence change the rate?")
    expect(silence).to_contain_text("does not bear on it")


def test_sites_are_told_apart_by_a_funnel_that_does_not_rank_them(page, rates):
    open_page(page, rates, "rates")
    funnel = card(page, "Does any site stand apart from all sites together?")
    expect(funnel).to_contain_text("A funnel does not rank sites.")
    expect(funnel.locator(".history")).to_contain_text("North")
    expect(funnel.locator(".history")).to_contain_text("99.8 % limit")


def test_a_figure_leads_to_the_paragraph_that_explains_it(page, rates):
    open_page(page, rates, "rates")
    page.get_by_role("link", name="How the chart is worked out").click()
    explained = page.locator("#control_chart")
    expect(explained).to_be_in_viewport()
    expect(explained).to_contain_text("nine in a row on one side")
    expect(explained).to_contain_text("Answer: 9.8, 30.0.")


def test_a_choice_that_is_not_known_is_left_at_the_usual(page, rates):
    page.goto(f"{rates.address}/rates?event=%3Cb%3E&by=moon&period=hour&first=x&since=y&basis=z")
    expect(page.get_by_role("heading", level=1)).to_have_text("Rates: skin events")
    expect(chooser(page, "Groups")).to_have_value("site")


@pytest.mark.parametrize("width", [1440, 390])
def test_dwell_time_by_line_type_is_read_with_numbers_at_risk(watched, dwell, width):
    page = watched.page(width)
    page.goto(f"{dwell.address}/dwell")
    choose(page, "Show", "line_type")
    expect(page.get_by_role("heading", level=1)).to_have_text("Dwell time, by line type")
    in_place = card(page, "What share of lines is still in place?")
    expect(in_place.locator(".summary")).to_contain_text("PICC 50 % by day 62")
    expect(in_place.locator(".summary")).to_contain_text("tunneled line 83 % by day 62")
    drawn = in_place.locator(".history")
    expect(drawn).to_contain_text("Lines at risk")
    expect(drawn).to_contain_text("days since placement")
    expect(drawn).to_contain_text("PICC")
    unplanned = card(page, "What share has ended unplanned?")
    expect(unplanned.locator(".summary")).to_contain_text("PICC 50 %")
    expect(unplanned.locator(".summary")).to_contain_text("tunneled line 0 %")
    words = card(page, "In words and numbers")
    expect(words).to_contain_text("Unplanned removal, by line type: the groups end at different")
    expect(words).to_contain_text("where a family has several lines, its p is too small")
    hazard = card(page, "Do lines end unplanned more often while the dressing is out of date?")
    expect(hazard).to_contain_text("6 unplanned removals")


@pytest.mark.parametrize("name", ["rates", "dwell"])
@pytest.mark.parametrize("width", [1440, *NARROW])
def test_no_words_of_a_figure_are_cut_off_or_lie_over_each_other(
    watched, two_sites, two_types, name, width
):
    page = watched.page(width)
    with serving(two_sites if name == "rates" else two_types, demo=True) as running:
        open_page(page, running, name)
        page.wait_for_timeout(500)
        faults = page.evaluate(
            """() => [...document.querySelectorAll('.js-plotly-plot')].flatMap(plot => {
                const frame = plot.getBoundingClientRect();
                const boxes = [...plot.querySelectorAll(
                    '.xtick text, .ytick text, .annotation-text, .textpoint text')]
                    .map(e => ({t: e.textContent, r: e.getBoundingClientRect()}))
                    .filter(b => b.r.width > 0);
                const out = boxes.filter(b => b.r.left < frame.left - 1
                    || b.r.right > frame.right + 1).map(b => 'cut off: ' + b.t);
                const over = boxes.flatMap((a, i) => boxes.slice(i + 1)
                    .filter(b => a.r.left < b.r.right - 1 && b.r.left < a.r.right - 1
                        && a.r.top < b.r.bottom - 4 && b.r.top < a.r.bottom - 4)
                    .map(b => a.t + ' over ' + b.t));
                return [...out, ...over];
            })"""
        )
    assert faults == []


@pytest.mark.parametrize("width", [1440, 390])
@pytest.mark.parametrize("name", list(PAGES))
def test_no_rule_of_the_accessibility_guidelines_is_broken(
    watched, two_sites, two_types, name, width
):
    page = watched.page(width)
    with serving(two_sites if name == "rates" else two_types, demo=True) as running:
        open_page(page, running, name)
        for details in page.get_by_text("The same as a table").all():
            details.click()
        found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("width", NARROW)
@pytest.mark.parametrize("name", list(PAGES))
def test_nothing_is_cut_off_on_a_narrow_screen(watched, two_sites, two_types, name, width):
    page = watched.page(width)
    with serving(two_sites if name == "rates" else two_types, demo=True) as running:
        open_page(page, running, name)
        for details in page.get_by_text("The same as a table").all():
            details.click()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        clipped = page.evaluate(
            """() => [...document.querySelectorAll('main *')]
                .filter(e => e.getClientRects().length && !e.closest('.scroll, svg, .unseen'))
                .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
                .map(e => e.tagName + '.' + e.className)"""
        )
    assert clipped == []


@pytest.mark.parametrize("name", ["rates", "dwell"])
def test_figures_fit_a_sheet_of_paper_and_their_tables_are_open_on_it(
    page, two_sites, two_types, name
):
    with serving(two_sites if name == "rates" else two_types, demo=True) as running:
        open_page(page, running, name)
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        page.emulate_media(media="print")
        for figure in page.locator(".history .main-svg:first-child").all():
            expect(figure).to_have_attribute("width", "680")
        expect(page.get_by_role("complementary", name="Cautions")).to_be_visible()
        expect(page.locator(".same table").first).to_be_visible()
        expect(page.locator(".tools").first).to_be_hidden()
