"""A manager's task: take in what a clinic sent, see what could not be used, and mend it."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from tests.browser.conftest import Running
from tests.browser.small_programme import RECEIVED
from tests.browser.test_accessible import BEYOND_THE_EDGE, breaks_no_rule

SENT = """\
entry_id,line_id,done_at,kind,note
s1,L1,2031-03-03,skin_check,
s2,L2,2031-02-30,skin_check,slept well
s3,L4,2031-03-02,bath,
"""


def drop(page: Page, name: str, text: str) -> None:
    """Drop a file on the form as a hand does."""
    held = page.evaluate_handle(
        """([name, text]) => {
            const held = new DataTransfer();
            held.items.add(new File([text], name, { type: "text/csv" }));
            return held;
        }""",
        [name, text],
    )
    zone = page.locator("form[data-drops] .drop")
    zone.dispatch_event("dragover", {"dataTransfer": held})
    zone.dispatch_event("drop", {"dataTransfer": held})


def test_a_file_is_dropped_one_wrong_row_is_mended_and_the_other_taken_out(
    watched, running: Running
):
    page = watched.page(390)
    page.goto(running.address)
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Data in").click()
    expect(page).to_have_title("Data in · linedays")
    expect(page.locator(".answer")).to_contain_text("No rows to correct.")
    drop(page, "home_log-ward.csv", SENT)
    expect(page.get_by_role("status")).to_contain_text("Chosen: home_log-ward.csv")
    expect(page.get_by_role("button", name="Import")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Files imported")
    expect(page.locator(".answer")).to_have_text("1 file, 3 rows: 1 new and 2 refused.")
    rows = page.locator(".to-correct > li")
    expect(rows).to_have_count(2)
    expect(rows.first).to_contain_text("home_log-ward.csv, row 3")
    expect(rows.first).to_contain_text("There is no such day.")
    rows.first.get_by_role("link", name="Correct").click()
    day = page.get_by_label("done_at")
    expect(day).to_be_focused()
    expect(day).to_have_attribute("aria-invalid", "true")
    day.fill("2031-03-32")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert").filter(has_text="Not saved")).to_be_visible()
    expect(day).to_have_value("2031-03-32")
    expect(page.get_by_label("note")).to_have_value("slept well")
    day.fill("2031-03-02")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator(".answer")).to_contain_text("was saved and is off the list. 1 row left")
    page.get_by_role("link", name="Go to Data in").click()
    expect(page.locator(".answer")).to_contain_text("1 row to correct.")
    with page.expect_download() as found:
        page.get_by_role("link", name="home_log.csv").click()
    taken_out = found.value.path().read_text("utf-8-sig")
    assert found.value.suggested_filename == "home_log.csv"
    assert "bath" in taken_out
    assert len(taken_out.splitlines()) == 2
    log = running.records().home_log.set_index("entry_id")
    assert log.loc["s2", "note"] == "slept well"
    assert f"{log.loc['s2', 'done_on']:%Y-%m-%d}" == "2031-03-02"
    assert "s3" not in log.index


def test_a_file_is_chosen_with_the_keyboard_and_a_larger_one_is_told_before_it_is_sent(
    looking, looked_at: Running, tmp_path
):
    page = looking
    page.goto(f"{looked_at.address}/incoming")
    chooser = page.get_by_label("Drop log files here, or choose them")
    chooser.focus()
    expect(chooser).to_be_focused()
    page.evaluate("document.querySelector('form[data-drops]').dataset.mostBytes = '10'")
    path = tmp_path / "home_log.csv"
    path.write_text(SENT)
    chooser.set_input_files(path)
    expect(page.locator(".chosen")).to_contain_text("is more than 1 kB at once. Split the files")
    expect(page.get_by_role("button", name="Import")).to_be_disabled()


def test_files_go_in_without_any_script(browser, running: Running, token, tmp_path):
    context = browser.new_context(java_script_enabled=False)
    about = {"domain": "127.0.0.1", "path": "/", "httpOnly": True, "sameSite": "Strict"}
    context.add_cookies([{"name": "linedays_sign_in", "value": token, **about}])
    page = context.new_page()
    page.goto(f"{running.address}/incoming")
    page.get_by_role("link", name="import files").click()
    path = tmp_path / "home_log.csv"
    path.write_text(SENT)
    page.get_by_label("Drop log files here, or choose them").set_input_files(path)
    page.get_by_role("button", name="Import").click()
    expect(page.locator(".answer")).to_have_text("1 file, 3 rows: 1 new and 2 refused.")
    context.close()


def test_a_file_is_checked_first_and_left(watched, running: Running, tmp_path):
    page = watched.page()
    page.goto(f"{running.address}/incoming")
    path = tmp_path / "home_log.csv"
    path.write_text(SENT)
    page.get_by_label("Drop log files here, or choose them").set_input_files(path)
    page.get_by_role("button", name="Check first").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Check before importing")
    expect(page.locator(".answer")).to_have_text(
        "Nothing is stored yet. Of 3 rows, 1 would be new and 2 would be refused."
    )
    expect(page.get_by_role("region", name="First rows of home_log.csv")).to_contain_text(
        "2031-02-30 → not used"
    )
    page.get_by_role("button", name="Leave without importing").click()
    expect(page).to_have_title("Data in · linedays")
    assert "s1" not in set(running.records().home_log["entry_id"])


WARD = """\
Catheter no;Date;What was done;Mood;Dressing was;Skin
L1;3/2/2031;skin looked at;ok;;redness
L2;2/3/2031;dressing changed;tired;came off;nothing
"""


def everybody_can_use(page: Page) -> None:
    """Axe finds nothing and nothing is beyond the edge of the screen, at a desk and on a phone."""
    breaks_no_rule(page)
    for width in (1440, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(BEYOND_THE_EDGE) == []


def test_a_clinics_own_sheet_is_described_where_its_import_is_refused(
    watched, running: Running, tmp_path
):
    page = watched.page(390)
    watched.expected.append("422")
    page.goto(f"{running.address}/incoming")
    path = tmp_path / "ward.csv"
    path.write_text(WARD)
    page.get_by_label("Drop log files here, or choose them").set_input_files(path)
    page.get_by_role("button", name="Import").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing was imported")
    page.get_by_role("button", name="Describe ward.csv").click()
    expect(page.locator(".answer")).to_contain_text("Nothing is stored yet.")
    everybody_can_use(page)
    for choice in page.locator(".field.open select, select[aria-invalid]").all():
        choice.focus()
        page.keyboard.press("ArrowDown")
    page.get_by_label("Mood is read as").select_option(label="not one of ours")
    page.get_by_label("Catheter no is read as").select_option("line_id")
    page.get_by_role("button", name="Show the effect").press("Enter")
    expect(page.locator(".answer")).to_contain_text("Of 2 rows, 2 would be new")
    expect(page.get_by_text("Dates are read as day/month/year.")).to_be_visible()
    loose = page.get_by_label("came off in dressing_condition is read as")
    expect(loose.locator("option").first).to_have_text("loose (proposed)")
    loose.select_option("damp")
    page.get_by_role("button", name="Show the effect").click()
    expect(page.get_by_role("region", name="First rows of ward.csv")).to_contain_text(
        "came off → damp"
    )
    everybody_can_use(page)
    page.get_by_role("button", name="Save the source").click()
    expect(page.locator(".answer")).to_contain_text("ward is saved as version 1.")
    page.get_by_role("button", name="Import the file now").click()
    expect(page.locator(".answer")).to_have_text("1 file, 2 rows: 2 new and none refused.")
    log = running.records().home_log
    assert log.loc[log["entry_id"].isna(), "dressing_condition"].dropna().tolist() == ["damp"]


def test_all_rows_of_one_cause_are_corrected_with_the_keyboard_and_undone(
    watched, store_file, running: Running, tmp_path
):
    bad = "".join(f"c{n},L1,2031-03-0{n},bath\n" for n in (1, 2, 3))
    path = tmp_path / "home_log-bad.csv"
    path.write_text(f"entry_id,line_id,done_at,kind\n{bad}")
    with Store.open(f"sqlite:///{store_file}") as store:
        ingest(store, [path], shipped_policy(), received_at=RECEIVED)
    page = watched.page(390)
    page.goto(f"{running.address}/incoming")
    page.get_by_role("link", name="3 rows, kind").press("Enter")
    expect(page.locator(".answer")).to_contain_text("3 rows, kind")
    everybody_can_use(page)
    choice = page.get_by_label("Write in all of them")
    choice.focus()
    page.keyboard.type("skin")
    page.get_by_role("button", name="Show the effect").press("Enter")
    expect(page.locator(".answer")).to_contain_text("3 would be stored, none still refused.")
    expect(page.get_by_label("Write in all of them")).to_have_value("skin_check")
    assert len(running.records().home_log) == 10
    page.get_by_role("button", name="Correct 3 rows").press("Enter")
    expect(page.locator(".answer")).to_have_text("3 were stored, none still refused.")
    assert len(running.records().home_log) == 13
    everybody_can_use(page)
    page.get_by_role("button", name="Undo").press("Enter")
    expect(page.locator(".answer")).to_have_text("The correction is undone.")
    page.get_by_role("link", name="Go to Data in").click()
    rows = page.locator(".to-correct > li")
    expect(rows).to_have_count(3)
    expect(rows.first).to_contain_text("home_log-bad.csv, correction undone, row 2")
