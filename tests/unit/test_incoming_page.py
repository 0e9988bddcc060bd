"""What each person sees of incoming logs: files, refused rows, lateness, doubts."""

from __future__ import annotations

import functools
import io
import json
import shutil
import zipfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from analysis.cli.app import main
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.starter import kit
from dashboard.addresses.incoming import read_incoming
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from tests.signed_in import (
    NOW,
    PEOPLE,
    Browser,
    Clock,
    app,
    browser_of,
    clock,
    programme_file,
    record_of,
    store_url,
)

__all__ = ["app", "clock", "programme_file", "store_url"]

POLICY = shipped_policy()
BAD = """\
entry_id,line_id,family_id,done_at,kind,note,Bell
b1,L1,F1,2031-03-02,bath,felt hot in the night,ring twice
b2,L3,F3,2031-02-30,skin_check,,
b3,L9,,2031-03-01,skin_check,,
b4,L1,F3,2031-03-01,skin_check,,
b5,L2,F2,2031-03-01,skin_check,,
"""
# b1 is of North, b2 of South, b3 names nobody known, b4 a line and a family of two sites.
LATER = """\
entry_id,line_id,done_at,kind,note
d1,L3,2031-03-01,connector_change,
d2,L3,2031-03-02,connector_change,sleeps badly
"""
TOO_SOON = "The connector was changed again sooner than the policy allows"


def taken_in(app, folder: Path):
    """The programme after a file with four wrong rows, and one with an odd row."""
    for name, text, at in (
        ("home_log-march.csv", BAD, NOW - timedelta(hours=1)),
        ("home_log-south.csv", LATER, NOW),
    ):
        (folder / name).write_text(text)
        ingest(app.service.store, [folder / name], POLICY, received_at=at, ingested_at=at)
    return app


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("incoming")


@pytest.fixture(scope="module")
def bad(programme_file: Path, folder: Path) -> Iterator[Any]:
    """Looked at by many tests, none of which writes rows."""
    file = shutil.copy(programme_file, folder / "programme.sqlite")
    made = create_app(DashboardConfig(store_url=f"sqlite:///{file}", clock=Clock()))
    yield taken_in(made, folder)
    made.service.close()


@pytest.fixture(scope="module")
def person(bad) -> Callable[[str], Browser]:
    """The browser of each person, signed in once."""
    return functools.cache(lambda code: browser_of(bad, code))


def seen(browser: Browser, search: str = "") -> str:
    """What the page holds, as the browser reads it."""
    answer = browser.page("/incoming", search)
    assert answer.status_code == 200
    return json.dumps(answer.json, ensure_ascii=False)


def test_the_page_says_first_what_came_in_what_waits_and_who_is_quiet(app, clock, tmp_path):
    manager = browser_of(taken_in(app, tmp_path), "manager")
    text = seen(manager)
    assert "Today 2 files, 7 rows: 3 new and 4 refused. 4 rows to correct." in text
    assert "Every source has sent something within a week." in text
    clock.move(days=9)
    text = seen(browser_of(app, "manager"))
    assert (
        "Nothing received today; the newest file, home_log-south.csv, was received 9 days ago."
        in text
    )
    assert "No data for more than a week: our own form for 9 days." in text


def test_a_refused_row_stands_with_its_place_its_value_and_how_to_mend_it(person):
    text = seen(person("manager"))
    assert "home_log-march.csv, row 2" in text
    assert "<q>bath</q>" in text
    assert "It is not one of the values for this column. Write one of dressing_change" in text
    assert "<q>2031-02-30</q>" in text
    assert "There is no such day." in text


@pytest.mark.parametrize(
    ("code", "shown", "hidden", "waits"),
    [
        ("manager", ["bath", "2031-02-30", "L9"], [], 4),
        ("manager.north", ["bath"], ["2031-02-30", "L9", "F3", "L3"], 1),
        ("manager.south", ["2031-02-30"], ["bath", "L9", "L1", "L2"], 1),
        ("prevention", [], ["bath", "2031-02-30", "L9"], 4),
        ("prevention.granted", [], ["bath", "2031-02-30", "L9"], 4),
    ],
)
def test_a_person_is_shown_the_refused_rows_of_own_sites_and_what_the_role_includes(
    person, code, shown, hidden, waits
):
    text = seen(person(code))
    rows = "4 rows" if waits == 4 else "1 row"
    assert f"{rows} to correct." in text
    for value in shown:
        assert f"<q>{value}</q>" in text, value
    for value in hidden:
        assert f"<q>{value}</q>" not in text, value
        assert f"<dd>{value}</dd>" not in text, value
    if code.startswith("prevention"):
        assert "home_log-march.csv, row 2" in text
        assert "There is no such day." in text


def test_notes_contacts_and_families_do_not_reach_infection_prevention(person):
    for code in ("prevention", "prevention.granted"):
        text = seen(person(code))
        assert TOO_SOON in text
        assert "home_log-south.csv, row 3" in text
        for hidden in ("felt hot", "ring twice", "sleeps badly", ">F3<", ">L3<"):
            assert hidden not in text, hidden
    text = seen(person("manager"))
    assert "sleeps badly" in text
    assert ">L3<" in text


def test_a_doubt_about_a_row_of_another_site_is_not_shown(person):
    assert "No doubtful rows." in seen(person("manager.north"))
    assert TOO_SOON in seen(person("manager.south"))


def test_files_are_counted_by_own_rows_for_a_person_of_some_sites(person):
    north, south = seen(person("manager.north")), seen(person("manager.south"))
    assert "Today 1 file with 1 row of your sites." in north
    assert "home_log-south.csv" not in north
    assert "Today 1 file with 2 rows of your sites." in south
    assert "home_log-march.csv, row 3" in south  # its refused row; the file brought no row in force
    for text in (north, south):
        assert "Rows of your sites" in text
        assert "Same as before" not in text


@pytest.mark.parametrize("code", [code for code, *_ in PEOPLE])
def test_only_people_who_may_mend_rows_of_all_sites_take_them_out(person, code):
    answer = person(code).get("/incoming/refused/home_log.csv")
    assert answer.status_code == (200 if code == "manager" else 403)
    if code != "manager":
        assert "felt hot" not in answer.text
        assert "/incoming/refused/" not in person(code).page("/incoming").text


def test_the_file_to_mend_is_the_command_lines_to_the_byte_and_is_noted(
    bad, folder, person, monkeypatch
):
    answer = person("manager").get("/incoming/refused/home_log.csv")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="home_log.csv"'
    written = ["refused", "--write", str(folder / "mend"), "--store"]
    command = ["linedays", *written, f"sqlite:///{folder}/programme.sqlite"]
    monkeypatch.setattr("sys.argv", command)
    with pytest.raises(SystemExit) as stop:
        main()
    assert not stop.value.code
    assert answer.data == (folder / "mend" / "home_log.csv").read_bytes()
    assert b"felt hot in the night" in answer.data
    by_page, by_command = record_of(bad)[-2:]
    assert by_page == ("manager", "exported_table", None)
    assert by_command[1:] == by_page[1:]


@pytest.mark.parametrize("code", [code for code, *_ in PEOPLE])
def test_people_who_import_files_download_the_starter_kit(person, code, monkeypatch):
    monkeypatch.setattr(kit, "pdf_file", lambda page: page.encode())
    answer = person(code).get("/incoming/starter.zip")
    assert answer.status_code == (200 if code == "manager" else 403)
    if code == "manager":
        assert answer.headers["Content-Disposition"].endswith('"linedays-starter.zip"')
        with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
            assert {"README.txt", "policy.toml", "incoming/registry.xlsx"} < set(archive.namelist())
        assert "starter.zip" in person(code).page("/incoming").text


@pytest.mark.parametrize(
    "path",
    ["refused/lines.csv", "refused/users.csv", "refused/..%2Fhome_log.csv", "nothing", "refused/"],
)
def test_there_is_nothing_else_below_the_page(person, path):
    answer = person("manager").get(f"/incoming/{path}")
    assert answer.status_code == 404
    assert "Page not found" in answer.text
    assert person("reader").get(f"/incoming/{path}").status_code == 403


def test_long_lists_are_turned_page_by_page(app, tmp_path):
    rows = "\n".join(f"x{n},L1,2031-03-{n % 3 + 1:02d},bath" for n in range(45))
    (tmp_path / "home_log.csv").write_text(f"entry_id,line_id,done_at,kind\n{rows}\n")
    ingest(app.service.store, [tmp_path / "home_log.csv"], POLICY, received_at=NOW)
    manager = browser_of(app, "manager")
    first = seen(manager)
    assert "Page 1 of 3" in first
    assert "row 2<" in first
    assert "row 22<" not in first
    second = seen(manager, "?refused=2")
    assert "row 22<" in second
    assert "/incoming?refused=3#refused" in second
    assert "Page 3 of 3" in seen(manager, "?refused=99")
    assert read_incoming("?refused=-1&files=two").files == 1


def test_an_empty_programme_says_that_nothing_has_come_in(app):
    text = seen(browser_of(app, "manager.south"))
    assert "No rows to correct." in text
    assert "No doubtful rows." in text


def test_an_entry_that_was_corrected_is_voided_with_one_click_and_counts_again(app, tmp_path):
    head = "line_id,done_at,kind,findings\n"
    for findings, at in (("fever", NOW - timedelta(hours=1)), ("none", NOW)):
        log = tmp_path / "home_log.csv"
        log.write_text(f"{head}L2,2031-03-03T08:00,skin_check,{findings}\n")
        ingest(app.service.store, [log], POLICY, received_at=at, ingested_at=at)
    (earlier,) = app.service.store.corrections()["earlier_row"]
    address = f"/incoming/entry/{earlier}"
    manager = browser_of(app, "manager")
    assert f'action=\\"{address}\\"' in seen(manager)
    token = {"csrf_token": manager.cookie("_csrf_token")}
    for code in ("prevention", "manager.north"):
        other = browser_of(app, code)
        assert address not in seen(other)
        own = {"csrf_token": other.cookie("_csrf_token") or ""}
        assert other.post(address, {**own, "do": "void"}).status_code == 403
    done = manager.post(address, {**token, "do": "void"})
    assert "home_log.csv, row 2, is voided" in done.text
    assert "No doubtful rows." in seen(manager)
    assert manager.post(address, {**token, "do": "void"}).status_code == 409
    assert "counts again" in manager.post(address, {**token, "do": "undo"}).text
    assert address not in seen(manager)
    assert f"/incoming/entry/{app.service.store.corrections()['earlier_row'][0]}" in seen(manager)
