"""Coming in, going out, and a page that somebody left open."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import PASSWORD
from tests.browser.test_accessible import breaks_no_rule


def sign_in(page, code: str, password: str = PASSWORD) -> None:
    page.get_by_label("Your staff code").fill(code)
    page.get_by_label("Password").fill(password)
    page.keyboard.press("Enter")


def test_a_nurse_signs_in_goes_on_to_the_page_asked_for_and_signs_out(watched, running):
    watched.expected.append("401")
    page = watched.page(signed_in=False)
    page.goto(f"{running.address}/?family=F2")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    expect(page.get_by_label("Your staff code")).to_be_focused()
    sign_in(page, "N1", "not the password at all")
    expect(page.get_by_role("alert")).to_contain_text("Wrong code or password")
    expect(page.get_by_label("Your staff code")).to_have_value("N1")
    expect(page.get_by_label("Password")).to_be_focused()
    sign_in(page, "N1")
    expect(page.get_by_role("heading", name="Family F2")).to_be_visible()
    expect(page.get_by_role("banner")).to_contain_text("Signed in: N1")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    expect(page.get_by_text("Family F2")).to_have_count(0)


def test_an_educator_finds_no_call_list_and_no_contact(looking, looked_at):
    page = looking
    page.context.clear_cookies()
    page.goto(looked_at.address)
    sign_in(page, "E1")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    pages = page.get_by_role("navigation", name="Pages")
    expect(pages.get_by_role("link", name="Calls")).to_have_count(0)
    expect(pages.get_by_role("link", name="Access log")).to_have_count(0)
    page.goto(f"{looked_at.address}/family/F1")
    expect(page.get_by_text("Finnish")).to_be_visible()
    expect(page.get_by_text("ward phone 11")).to_have_count(0)


def test_a_page_whose_sign_in_was_ended_goes_to_sign_in(watched, running):
    # Dash may read a refused reply a second time while the page is already being left.
    watched.expected += ["401", "body stream already read"]
    page = watched.page(signed_in=False)
    page.goto(running.address)
    sign_in(page, "N1")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Calls for")
    page.context.clear_cookies(name="linedays_sign_in")
    page.get_by_role("link", name="F2", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    sign_in(page, "N1")
    expect(page.get_by_role("heading", name="Family F2")).to_be_visible()


def test_a_family_page_whose_sign_in_was_ended_comes_back_as_it_was(watched, running):
    # Dash may read a refused reply a second time while the page is already being left.
    watched.expected += ["401", "body stream already read"]
    page = watched.page()
    page.goto(f"{running.address}/?nurse=N1&family=F2")
    page.get_by_role("link", name="Full history").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Family F2")
    address = page.url
    page.get_by_role("radio", name="No answer").check()
    page.context.clear_cookies(name="linedays_sign_in")
    page.get_by_role("button", name="Record the call").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    sign_in(page, "N1")
    expect(page.get_by_role("heading", level=1)).to_have_text("Family F2")
    assert page.url == address
    expect(page.get_by_role("radio", name="No answer")).to_be_checked()
    assert len(running.records().calls) == 0
    page.get_by_role("button", name="Record the call").click()
    expect(page.get_by_role("status").filter(has_text="Call recorded.")).to_be_visible()


def test_the_record_shows_the_family_just_opened(page, running):
    page.goto(f"{running.address}/?family=F2")
    expect(page.get_by_role("heading", name="Family F2")).to_be_visible()
    page.get_by_role("link", name="Access log").click()
    newest = page.get_by_role("table").get_by_role("row").nth(1)
    expect(newest).to_contain_text("N1")
    expect(newest).to_contain_text("opened family")
    expect(newest).to_contain_text("F2")


def test_the_page_to_sign_in_breaks_no_rule_of_the_accessibility_guidelines(looking, looked_at):
    looking.context.clear_cookies()
    looking.goto(f"{looked_at.address}/sign-in")
    expect(looking.get_by_label("Your staff code")).to_be_visible()
    breaks_no_rule(looking)
    for width in (390, 320):
        looking.set_viewport_size({"width": width, "height": 844})
        assert looking.evaluate("document.documentElement.scrollWidth") <= width
