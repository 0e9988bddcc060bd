"""One's own account with the keyboard alone: a password, a second step, and signing in with it."""

from __future__ import annotations

import pyotp
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import PASSWORD
from tests.browser.small_programme import NOW
from tests.browser.test_accessible import breaks_no_rule

WIDTHS = (1440, 390)
MOST_STEPS = 60
"""Presses of the tab key from the top of a page to anything on it."""


def go_to(page: Page, wanted: Locator) -> None:
    """Press the tab key until an element has the focus."""
    for _ in range(MOST_STEPS):
        page.keyboard.press("Tab")
        if wanted.evaluate("e => e === document.activeElement"):
            return
    raise AssertionError("the tab key does not lead there")


def has_no_violation(page: Page) -> None:
    breaks_no_rule(page)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.set_viewport_size({"width": WIDTHS[0], "height": 900})


def test_two_steps_are_set_up_and_used_with_the_keyboard_alone(watched, running):
    page = watched.page()
    page.goto(f"{running.address}/account")
    page.evaluate("document.activeElement.blur()")
    section = page.locator("#two-steps")
    go_to(page, section.get_by_label("Present password"))
    page.keyboard.type(PASSWORD)
    go_to(page, section.get_by_role("button", name="Set up two-step sign-in"))
    page.keyboard.press("Enter")
    expect(page.get_by_alt_text("Key as a picture to scan")).to_be_visible()
    has_no_violation(page)
    phone = pyotp.TOTP(page.locator("#two-steps code").inner_text())
    go_to(page, page.get_by_label("Code of the authenticator"))
    page.keyboard.type(phone.at(NOW))
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Two-step sign-in is set up")
    has_no_violation(page)
    recovery = page.locator("#two-steps li code").first.inner_text()
    go_to(page, page.get_by_role("button", name="Sign out"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    expect(page.get_by_label("Your staff code")).to_be_focused()
    page.keyboard.type("N1")
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Second step")
    has_no_violation(page)
    expect(page.get_by_label("Code of your authenticator")).to_be_focused()
    page.keyboard.type(recovery)
    page.keyboard.press("Enter")
    expect(page.get_by_role("banner")).to_contain_text("Signed in: N1")
