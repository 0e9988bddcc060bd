"""A whole morning by the keyboard alone, at a desk and on a narrow screen."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.browser.test_accessible import breaks_no_rule


def focused_row(page: Page, family: str):
    return expect(page.locator("table.calls").get_by_role("link", name=family, exact=True))


def tab_to(page: Page, wanted: str) -> None:
    """Press Tab until the element of a selector has the focus."""
    for _ in range(80):
        if page.evaluate("wanted => document.activeElement.matches(wanted)", wanted):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{wanted} was never reached")


def test_a_morning_needs_no_mouse(watched, running):
    page = watched.page(390)
    page.goto(running.address)
    panel = page.get_by_role("region", name="Open family")
    said = panel.get_by_role("status")
    press = page.keyboard.press
    page.get_by_role("button", name="Filters").press("Enter")
    page.get_by_text("Keys", exact=True).press("Enter")
    expect(page.get_by_text("postpones,")).to_be_visible()

    # Choose one's own families; what is shown is said aloud.
    tab_to(page, "#choose-nurse")
    page.keyboard.type("N1")
    expect(page.locator("#calls-announced")).to_have_text("3 families shown: to call.")
    expect(page.locator("#choose-nurse")).to_be_focused()

    # The red flag: a letter opens the family at its form; it cannot be set aside.
    tab_to(page, "a.row-link")
    focused_row(page, "F1").to_be_focused()
    press("s")
    expect(panel.get_by_text("Can't be postponed")).to_be_focused()
    press("c")
    expect(page.get_by_role("radio", name="Yes, spoke with family")).to_be_focused()
    press("Space")
    press("Tab")
    page.keyboard.type("clinic at noon, cases and such")  # letters in a field only write
    tab_to(page, "form[data-sends='record-call'] button")
    press("Enter")
    expect(said).to_contain_text("Call recorded. F1 comes back on the list")
    expect(said).to_be_focused()

    # At a desk, the next one is postponed, undone, postponed again.
    page.set_viewport_size({"width": 1440, "height": 900})
    press("Escape")
    press("Home")
    focused_row(page, "F2").to_be_focused()
    for reason in ("on the way to the ward", "at the clinic today"):
        press("s")
        expect(page.locator("#until-on")).to_be_focused()
        tab_to(page, "#aside-reason")
        page.keyboard.type(reason)
        press("Enter")
        expect(said).to_contain_text("F2 is postponed and comes back on the list on 5 Mar.")
        expect(said).to_be_focused()
        if reason.startswith("on"):
            press("u")
            expect(said).to_contain_text("The change for F2 was undone.")
            expect(said).to_be_focused()
            press("Escape")
            focused_row(page, "F2").to_be_focused()

    # The last is given to somebody else, and so leaves this list.
    press("Escape")
    press("Home")
    focused_row(page, "F6").to_be_focused()
    press("a")
    expect(page.locator("#assigned-to")).to_be_focused()
    page.keyboard.type("N2")
    tab_to(page, "#assign button")
    press("Enter")
    expect(said).to_contain_text("F6 is assigned to N2.")
    press("Escape")
    expect(page.locator(".answer")).to_have_text("No families to call for N1. 1 family is waiting.")
    rows = page.locator("table.calls a.row-link")
    expect(rows).to_have_count(2)
    assert rows.all_inner_texts() == ["F1", "F2"]
    expect(page.locator("table.calls")).to_contain_text("Postponed until 5 Mar")
    records = running.records()
    assert list(records.calls["family_id"]) == ["F1"]
    assert list(records.arrangements["family_id"]) == ["F2", "F6"]
    assert list(records.arrangements["assigned_to"].fillna("")) == ["", "N2"]

    # What was unfolded on the way can be used by everybody.
    rows.first.click()
    expect(panel.get_by_role("heading", name="Family F1")).to_be_visible()
    for summary in panel.locator("summary").all():
        summary.click()
    page.set_viewport_size({"width": 390, "height": 900})
    breaks_no_rule(page)
