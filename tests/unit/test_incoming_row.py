"""A refused row is mended on a page: its cells as a form, all checks, nothing lost."""

from __future__ import annotations

import functools
import html
import io
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from analysis.ingest import Profile, ingest, load_profile
from analysis.policy import shipped_policy
from analysis.store import Store
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from tests.signed_in import (
    NOW,
    PEOPLE,
    Browser,
    Clock,
    browser_of,
    programme_file,
    record_of,
)

__all__ = ["programme_file"]

POLICY = shipped_policy()
ROWS = """\
entry_id,line_id,done_at,kind,note,Bell
b1,L1,2031-02-30,skin_check,"felt ""hot""
<script>twice</script>",ring twice
b2,L2,2031-03-01,bath,,
b3,L3,2031-03-02,bath,,
"""
TICKS = """\
name = "tick sheet"
[table.home_log]
names = ["ticks*"]
[table.home_log.fixed]
kind = "skin_check"
[[table.home_log.ticks]]
column = "findings"
head = "Fever?"
code = "fever"
[[table.home_log.ticks]]
column = "findings"
head = "Rash?"
code = "rash"
"""
TICKED = "line_id,done_at,Fever?,Rash?\nL1,2031-03-01,maybe,no\n"


def dashboard(programme_file: Path, folder: Path, *profiles: Path) -> Any:
    """A dashboard over the programme with rows 1 to 3 refused; row 4 has an unreadable tick."""
    file = shutil.copy(programme_file, folder / "programme.sqlite")
    (folder / "ticks.toml").write_text(TICKS)
    texts = {"home_log-march.csv": ROWS, "ticks.csv": TICKED}
    with Store.open(f"sqlite:///{file}") as store:
        for name, text in texts.items():
            (folder / name).write_text(text)
            profile = load_profile(folder / "ticks.toml") if name == "ticks.csv" else Profile()
            ingest(store, folder / name, POLICY, profile, received_at=NOW, ingested_at=NOW)
        assert store.refused()["refused_row"].tolist() == [1, 2, 3, 4]
    return create_app(
        DashboardConfig(store_url=f"sqlite:///{file}", clock=Clock(), profiles=profiles)
    )


@pytest.fixture
def app(programme_file, tmp_path) -> Iterator[Any]:
    made = dashboard(programme_file, tmp_path)
    yield made
    made.service.close()


@pytest.fixture
def person(app) -> Browser:
    return browser_of(app, "manager")


@pytest.fixture(scope="module")
def looked_at(programme_file, tmp_path_factory) -> Iterator[Any]:
    """For tests that write nothing: who asks, and the browser of each person."""
    made = dashboard(programme_file, tmp_path_factory.mktemp("looked-at"))
    yield made, functools.cache(lambda code: browser_of(made, code))
    made.service.close()


People = tuple[Any, Callable[[str], Browser]]


def form_of(page: str) -> dict[str, str]:
    """Fields of the form by their label, with what stands in them."""
    fields = {}
    for name, label in re.findall(r'<label for="(cell-\d+)">(.*?)</label>', page):
        one = re.search(rf'<(input|textarea|select)[^>]*id="{name}"[^>]*>', page)
        assert one is not None
        if one[1] == "input":
            value = re.search(r'value="([^"]*)"', one[0])
            text = value[1] if value else ""
        elif one[1] == "textarea":
            # A browser passes over a line break right after the start of the field.
            text = page[one.end() :].split("</textarea>")[0].removeprefix("\n")
        else:
            options = page[one.end() :].split("</select>")[0]
            chosen = re.search(r'<option value="([^"]*)" selected', options)
            text = chosen[1] if chosen else ""
        fields[label.removesuffix(" (needed)")] = (name, html.unescape(text))
    return fields


def mended(person: Browser, number: int, *, take_off: bool = False, **cells: str) -> Any:
    """Open the row's form, write into some of its cells, and send it."""
    page = person.get(f"/incoming/row/{number}").text
    token = re.search(r'action="/incoming/row/.*?name="csrf_token" value="([^"]+)"', page)
    token = token or re.search(r'type="hidden" name="csrf_token" value="([^"]+)"', page)
    fields = form_of(page)
    form = {"csrf_token": token[1] if token else ""}
    form |= {name: cells.get(head, text) for head, (name, text) in fields.items()}
    form |= {"take_off": "yes"} if take_off else {}
    return person.post(f"/incoming/row/{number}", form)


def listed(app) -> list[int]:
    return app.service.store.refused()["refused_row"].tolist()


def test_the_form_holds_every_cell_and_marks_the_one_at_fault(looked_at):
    _, browser = looked_at
    page = browser("manager").get("/incoming/row/1").text
    fields = form_of(page)
    assert list(fields)[:4] == ["entry_id", "line_id", "family_id", "caregiver_id"]
    assert fields["done_at"][1] == "2031-02-30"
    assert fields["note"][1] == 'felt "hot"\n<script>twice</script>'
    assert fields["Bell"][1] == "ring twice"
    assert "<script>twice" not in page
    assert re.findall(r'<input[^>]*id="(cell-\d+)"[^>]*aria-invalid="true"', page) == [
        fields["done_at"][0]
    ]
    assert "There is no such day." in page
    kind = form_of(browser("manager").get("/incoming/row/2").text)["kind"]
    assert kind[1] == "bath"
    assert "bath (as sent)" in browser("manager").get("/incoming/row/2").text


@pytest.mark.parametrize("code", [code for code, *_ in PEOPLE if code != "manager"])
def test_only_a_manager_of_all_sites_sees_a_row_and_mends_it(looked_at: People, code):
    app, browser = looked_at
    got = browser(code).get("/incoming/row/1")
    sent = browser(code).post(
        "/incoming/row/1", {"csrf_token": browser(code).cookie("_csrf_token"), "cell-4": "x"}
    )
    for answer in (got, sent):
        assert answer.status_code == 403
        assert "hot" not in answer.text
    assert listed(app) == [1, 2, 3, 4]
    assert "/incoming/row/" not in browser(code).page("/incoming").text


def test_a_form_needs_its_token_and_a_person(looked_at: People):
    app, browser = looked_at
    for form in ({"cell-4": "2031-02-27"}, {"csrf_token": "forged"}):
        assert browser("manager").post("/incoming/row/1", form).status_code == 400
        assert Browser(app).post("/incoming/row/1", form).status_code == 401
    assert listed(app) == [1, 2, 3, 4]


@pytest.mark.parametrize("number", ["9", "0", "99999999999999999999999", "-1", "1x"])
def test_a_row_that_is_not_on_the_list_is_not_there(looked_at: People, number):
    _, browser = looked_at
    assert browser("manager").get(f"/incoming/row/{number}").status_code == 404


def test_a_mended_row_goes_in_and_leads_to_the_next(app, person):
    answer = mended(person, 1, done_at="2031-02-27")
    assert answer.status_code == 200
    assert "home_log-march.csv row 2 was saved and is off the list." in answer.text
    assert "3 rows left to correct." in answer.text
    assert 'href="/incoming/row/2"' in answer.text
    assert listed(app) == [2, 3, 4]
    log = app.service.store.records().home_log
    row = log[log["entry_id"] == "b1"].iloc[0]
    assert row["note"] == 'felt "hot"\n<script>twice</script>'
    (source,) = app.service.store.source_rows("home_log", [int(row["row"])])
    assert source.content["Bell"] == "ring twice"
    assert app.service.store.ingests()["brought_by"].iloc[-1] == "manager"
    assert record_of(app)[-1] == ("manager", "mended_row", None)
    assert "home_log-march.csv row 2, corrected" in person.page("/incoming").text
    again = person.get("/incoming/row/1")
    assert again.status_code == 404
    assert "This row is no longer on the list" in again.text


def test_a_row_that_is_still_wrong_says_so_and_keeps_what_was_typed(app, person):
    version = app.service.store.data_version()
    answer = mended(person, 2, kind="skin_check", line_id="L9", note="typed in the meantime")
    assert answer.status_code == 200
    assert "Not saved." in answer.text
    assert "No line with this code is known." in answer.text
    fields = form_of(answer.text)
    assert fields["kind"][1] == "skin_check"
    assert fields["line_id"][1] == "L9"
    assert fields["note"][1] == "typed in the meantime"
    assert (
        f'id="{fields["line_id"][0]}"'
        in re.search(r"<input[^>]*aria-invalid[^>]*>", answer.text)[0]
    )
    assert app.service.store.data_version() == version
    assert listed(app) == [1, 2, 3, 4]
    assert "<b>kind</b> <q>bath</q>" in app_html(person)


def app_html(person: Browser) -> str:
    """The page of incoming logs as HTML."""
    return person.page("/incoming").text.encode().decode("unicode_escape")


def test_a_row_that_nobody_needs_is_taken_off(app, person):
    known = len(app.service.store.records().home_log)
    answer = mended(person, 3, take_off=True)
    assert "was taken off the list and is not used." in answer.text
    assert listed(app) == [1, 2, 4]
    assert len(app.service.store.records().home_log) == known


def test_a_field_that_the_row_does_not_have_is_passed_over(app, person):
    page = person.get("/incoming/row/2").text
    token = re.search(r'type="hidden" name="csrf_token" value="([^"]+)"', page)
    kind, _ = form_of(page)["kind"]
    form = {
        "csrf_token": token[1],
        kind: "flush",
        "cell-99": "x",
        "refused_row": "1",
        "void": "yes",
    }
    assert person.post("/incoming/row/2", form).status_code == 200
    assert listed(app) == [1, 3, 4]
    assert "b2" in set(app.service.store.records().home_log["entry_id"])


def test_a_tick_that_nobody_here_can_read_is_written_as_its_code(app, person):
    answer = mended(person, 4, **{"Fever?": "yes"})
    assert "nly the source profile knows which code this column means" in answer.text
    assert listed(app) == [1, 2, 3, 4]
    mended(person, 4, **{"Fever?": "", "findings": "fever"})
    assert listed(app) == [1, 2, 3]
    assert app.service.store.records().home_log["findings"].iloc[-1] == "fever"


def test_a_tick_is_mended_into_its_code_where_the_source_is_known(programme_file, tmp_path):
    (tmp_path / "ticks.toml").write_text(TICKS)
    app = dashboard(programme_file, tmp_path, tmp_path / "ticks.toml")
    person = browser_of(app, "manager")
    assert mended(person, 4, **{"Fever?": "yes"}).status_code == 200
    assert listed(app) == [1, 2, 3]
    assert app.service.store.records().home_log["findings"].iloc[-1] == "fever"
    app.service.close()


def test_a_row_mended_in_a_file_brought_in_leaves_the_list_as_well(app, person):
    sheet = person.get("/incoming/refused/home_log.csv").data.decode("utf-8-sig")
    token = person.cookie("_csrf_token")
    file = (io.BytesIO(sheet.replace(",bath,", ",flush,").encode()), "home_log.csv")
    answer = person.post("/incoming/files", {"csrf_token": token, "file": file})
    assert "2 new" in answer.text
    assert listed(app) == [1, 4]
