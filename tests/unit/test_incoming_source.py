"""A source is described on the page: proposed, asked, shown on its own rows, saved as a version."""

from __future__ import annotations

import html
import re
from pathlib import Path

from analysis.ingest.profile_file import parse_profile
from tests.signed_in import (
    Browser,
    app,
    browser_of,
    clock,
    programme_file,
    store_url,
    without_marks,
)
from tests.unit.test_incoming_files import aside, sent
from tests.unit.test_incoming_preview import answered, number_of

__all__ = ["app", "aside", "clock", "programme_file", "store_url"]

SHEET = """\
Line no,Date,What was done,Feeling,Skin
L1,3/2/2031,skin looked at,ok,redness
L2,2/3/2031,dressing changed,,nothing
"""


def form_of(text: str) -> dict[str, str]:
    """The fields of the form as a browser would send them unchanged."""
    fields = re.findall(r'<input type="(?:hidden|text)"[^>]*name="([^"]+)" value="([^"]*)"', text)
    chosen = {name: html.unescape(value) for name, value in fields}
    for name, inside in re.findall(
        r'<select[^>]*name="([^"]+)"[^>]*>(.*?)</select>', text, re.DOTALL
    ):
        picked = re.search(r'value="([^"]*)" selected', inside)
        chosen[name] = html.unescape(picked[1]) if picked else ""
    return chosen


def answer(person: Browser, page: str, do: str, **answers: str):
    """Send the form with answers by the key of their question."""
    form = form_of(page)
    keys = {value: name for name, value in form.items() if name.startswith("key-")}
    for key, given in answers.items():
        form[keys[key].replace("key", "answer")] = given
    return person.post("/incoming/source", {**form, "do": do})


def test_a_source_is_described_shown_saved_and_its_file_imported(app, aside: Path) -> None:
    person = browser_of(app, "manager")
    page = sent(person, ("ward.csv", SHEET), do="describe").text
    assert "2 questions are open" in page
    assert "day/month/year" in page
    assert "Line no" in page
    assert "line_id (proposed)" in page
    refused = answer(person, page, "save")
    assert refused.status_code == 409
    assert "Dates are read as" not in page  # that is asked
    shown = answer(person, page, "show", **{"date_order": "dmy", "head:Feeling": "-"}).text
    assert "Dates are read as day/month/year." in shown
    assert "Of 2 rows, 2 would be new and none would be refused." in shown
    assert "3/2/2031 → 2031-02-03" in without_marks(shown)
    other = answer(person, shown, "show", **{"date_order": "mdy", "head:Skin": "-"}).text
    assert "3/2/2031 → 2031-03-02" in without_marks(other)
    toml = answer(person, other, "toml").text
    assert parse_profile(toml, "x", "x").name == "ward"
    assert "Skin" not in toml.split("[table.home_log.heads]")[1]
    assert app.service.store.source_profiles() == []
    saved = answer(person, shown, "save")
    assert "ward is saved as version 1" in saved.text
    (source,) = app.service.store.source_profiles()
    assert (source.made_by, "dmy" in source.text) == ("manager", True)
    done = answered(person, number_of(saved.text), "import")
    assert "1 file, 2 rows: 2 new and none refused." in done.text
    assert len(app.service.store.records().home_log) == 5
    assert app.service.store.ingests()["source"].iloc[-1] == "ward"


def test_what_cannot_be_described_is_answered_with_a_sentence(app, aside: Path) -> None:
    person = browser_of(app, "manager")
    page = sent(person, ("ward.csv", "a,b\n1,2\n"), do="describe")
    assert (page.status_code, "which table it is" in page.text) == (409, True)
    page = sent(person, ("ward.csv", SHEET), do="describe").text
    wrong = answer(person, page, "show", **{"head:Skin": "mood"})
    assert (wrong.status_code, "is no column of home_log" in wrong.text) == (409, True)
    left = answer(person, page, "leave")
    assert left.status_code == 303
    assert list(aside.iterdir()) == []
    assert answer(person, page, "show").status_code == 409
    assert answer(browser_of(app, "prevention"), page, "show").status_code in {400, 403}
