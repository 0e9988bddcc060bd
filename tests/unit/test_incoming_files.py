"""Files brought to a page go in as by the command line: same checks, whole or not at all."""

from __future__ import annotations

import csv
import functools
import html
import io
import logging
import re
import shutil
import tempfile
import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.cli.app import main
from analysis.store import Store
from analysis.tables import INCOMING
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.incoming.routes import MULTIPART_BYTES
from dashboard.session import ingesting
from tests.signed_in import (
    HOST,
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
    without_marks,
)
from tests.stored_rows import file_info

__all__ = ["app", "clock", "programme_file", "store_url"]

NOTE = "slept badly phone 11"
GOOD = f"entry_id,line_id,done_at,kind,note\ng1,L1,2031-03-02,skin_check,{NOTE}\n"
MIXED = GOOD + "g2,L2,2031-02-30,skin_check,\ng3,L9,2031-03-01,skin_check,\n"
TWICE = "entry_id,line_id,done_at,kind\ne2,L2,2031-02-20,dressing_change\n"
LINE = (
    "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type\n"
    "L7,C7,F7,South,picc,2031-02-01,2031-02-03,gauze\n"
)
OF_LINE = "line_id,done_at,kind\nL7,2031-02-20,dressing_change\n"
PROFILE = """\
name = "ward sheet"
date_order = "dmy"
[table.home_log]
names = ["Diary*"]
[table.home_log.heads]
"Line no" = "line_id"
Day = "done_at"
[table.home_log.fixed]
kind = "skin_check"
"""


def workbook(folder: Path) -> bytes:
    """A workbook with one sheet of the log."""
    path = folder / "made.xlsx"
    pd.DataFrame(
        {"line_id": ["L1", "L8"], "done_at": ["2031-03-01"] * 2, "kind": ["flush"] * 2}
    ).to_excel(path, sheet_name="home_log", index=False)
    return path.read_bytes()


def sent(person: Browser, *files: tuple[str, str | bytes], **fields: str) -> Any:
    """Send the page's own form as a browser without scripts does."""
    page = person.get("/incoming/files")
    found = re.search(r'name="csrf_token" value="([^"]+)"', page.text)
    form: dict[str, Any] = {"csrf_token": found[1] if found else "", **fields}
    contents = [(c.encode() if isinstance(c, str) else c, name) for name, c in files]
    form["file"] = [(io.BytesIO(content), name) for content, name in contents]
    return person.post("/incoming/files", form)


@pytest.fixture
def aside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The only folder in which files are put aside."""
    folder = tmp_path / "aside"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


def entries(app) -> list[str]:
    return sorted(app.service.store.records().home_log["entry_id"].dropna())


def cells_of_files(text: str) -> list[list[str]]:
    """Cells of the counts on the page of the answer."""
    rows = re.findall(r"<tr>(.*?)</tr>", text)[1:]
    return [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in rows]


def test_a_file_is_taken_in_and_what_became_of_it_is_told_and_noted(app, aside):
    person = browser_of(app, "manager")
    answer = sent(person, ("home_log-march.csv", MIXED))
    assert answer.status_code == 200
    assert "1 file, 3 rows: 1 new and 2 refused." in answer.text
    assert cells_of_files(answer.text) == [
        ["home_log-march.csv", "Home log", "3", "1", "0", "2", "0"]
    ]
    assert "There is no such day." in answer.text
    assert "No line with this code is known." in answer.text
    assert entries(app) == ["e1", "e2", "e3", "g1"]
    ingests = app.service.store.ingests().iloc[-1]
    assert (ingests["file"], ingests["brought_by"]) == ("home_log-march.csv", "manager")
    assert ingests["received_at"] == pd.Timestamp(NOW).tz_localize(None)
    assert record_of(app)[-1] == ("manager", "took_in_file", None)
    assert list(aside.iterdir()) == []
    page = person.page("/incoming").text
    assert "home_log-march.csv" in page
    assert "2 rows to correct." in page


def stored(store: Store) -> dict[str, pd.DataFrame]:
    """Everything stored but when it was read and by whom it was brought."""
    known = store.records()
    frames = {table: getattr(known, table) for table in INCOMING}
    frames["refused"], frames["doubts"] = store.refused(), store.doubts()
    frames["ingests"] = store.ingests().drop(columns=["ingested_at", "brought_by"])
    return frames


@pytest.mark.parametrize(
    ("files", "source"),
    [
        ([("home_log.csv", MIXED)], None),
        ([("entries of the week.csv", TWICE)], None),
        ([("home_log-2.csv", OF_LINE), ("lines-2.csv", LINE)], None),  # the registry goes first
        ([("März, home_log.xlsx", workbook)], None),
        ([("Diary 7.csv", "Line no,Day\nL1,02/03/2031\nL1,31/02/2031\n")], "ward sheet"),
        ([("lines.csv", b"%PDF-1.7 \x00\x01\x02"), ("home_log.csv", GOOD)], None),
    ],
)
def test_a_page_and_the_command_line_store_the_same_rows_and_tell_the_same_counts(
    programme_file, tmp_path, monkeypatch, capsys, files, source
):
    urls = [
        f"sqlite:///{shutil.copy(programme_file, tmp_path / name)}" for name in ("here", "there")
    ]
    profile = tmp_path / "ward.toml"
    profile.write_text(PROFILE)
    made = [(name, c(tmp_path) if callable(c) else c) for name, c in files]
    here = create_app(DashboardConfig(store_url=urls[0], clock=Clock(), profiles=(profile,)))
    chosen = {} if source is None else {"source": source}
    answer = sent(browser_of(here, "manager"), *made, **chosen)
    folder = tmp_path / "files"
    folder.mkdir()
    for name, content in made:
        (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    command = ["ingest", *(str(folder / name) for name, _ in made), "--store", urls[1]]
    command += ["--received-at", NOW.isoformat(), "--format", "csv"]
    command += [] if source is None else ["--source", str(profile)]
    monkeypatch.setattr("sys.argv", ["linedays", *command])
    with pytest.raises(SystemExit):
        main()
    printed = capsys.readouterr()
    with Store.open(urls[1]) as there:
        expected = stored(there)
    for name, frame in stored(here.service.store).items():
        pd.testing.assert_frame_equal(frame, expected[name], obj=name)
    here.service.close()
    counts = [row[:1] + row[2:] for row in csv.reader(io.StringIO(printed.out))][1:]
    assert [row[:1] + row[2:] for row in cells_of_files(without_marks(answer.text))] == counts
    lines = [line for line in printed.err.splitlines() if "linedays: Next: " not in line]
    for line in lines:
        assert line.removeprefix("linedays: ") in unescape(answer.text)


def test_the_same_file_twice_changes_nothing(app):
    person = browser_of(app, "manager")
    sent(person, ("home_log.csv", GOOD))
    version = app.service.store.data_version()
    again = sent(person, ("home_log.csv", GOOD))
    assert "1 file, 1 row: 0 new, 1 known before and none refused." in again.text
    assert "ingested before and not changed; nothing to do." in again.text
    assert app.service.store.data_version() == version


@pytest.fixture(scope="module")
def people(programme_file, tmp_path_factory) -> Iterator[tuple[Any, Callable[[str], Browser]]]:
    """A dashboard with small limits, and the browser of each person, signed in once."""
    file = shutil.copy(programme_file, tmp_path_factory.mktemp("people") / "programme.sqlite")
    config = DashboardConfig(store_url=f"sqlite:///{file}", clock=Clock(), most_upload_bytes=2_000)
    made = create_app(config)
    yield made, functools.cache(lambda code: browser_of(made, code))
    made.service.close()


@pytest.mark.parametrize("code", [code for code, *_ in PEOPLE if code != "manager"])
def test_only_a_manager_of_all_sites_brings_files_in(people, code):
    app, person = people
    version = app.service.store.data_version()
    assert person(code).get("/incoming/files").status_code == 403
    form = {
        "csrf_token": person(code).cookie("_csrf_token"),
        "file": (io.BytesIO(GOOD.encode()), "home_log.csv"),
    }
    answer = person(code).post("/incoming/files", form)
    assert answer.status_code == 403
    assert "Your role does not include this: import files." in answer.text
    assert app.service.store.data_version() == version
    assert "log-files" not in person(code).page("/incoming").text


def test_nobody_who_is_not_signed_in_brings_files_in(people):
    app, _ = people
    form = {"file": (io.BytesIO(GOOD.encode()), "home_log.csv")}
    assert Browser(app).post("/incoming/files", form).status_code == 401


@pytest.mark.parametrize("token", [None, "forged"])
def test_a_form_from_elsewhere_is_refused(people, token):
    app, person = people

    def forged(**headers: str) -> int:
        form = {"file": (io.BytesIO(GOOD.encode()), "home_log.csv")}
        form |= {} if token is None else {"csrf_token": token}
        return person("manager").post("/incoming/files", form, **headers).status_code

    assert forged() == 400
    assert forged(Origin="http://example.org") == 403
    assert entries(app) == ["e1", "e2", "e3"]


def test_files_that_are_too_large_are_refused_with_a_sentence(people):
    app, person = people
    large = GOOD + f"g4,L1,2031-03-01,note,{'x' * (2_000 + MULTIPART_BYTES)}\n"
    answer = sent(person("manager"), ("home_log.csv", large))
    assert answer.status_code == 413
    assert "larger than 0.002 MB together. Nothing was imported: split them" in answer.text
    assert entries(app) == ["e1", "e2", "e3"]


def test_no_other_address_takes_as_much(people):
    _, person = people
    token = person("manager").cookie("_csrf_token")
    about = {"Host": HOST, "Content-Type": "application/x-www-form-urlencoded"}
    body = f"csrf_token={token}&code={'x' * 1_100_000}"
    assert person("manager").client.post("/sign-out", data=body, headers=about).status_code == 413


def test_a_file_larger_than_other_forms_may_be_goes_in(app):
    rows = "".join(f"n{n},L1,2031-03-01,note,{'x' * 1_000}\n" for n in range(1_200))
    person = browser_of(app, "manager")
    # Written out here: the test client leaves its own copy of a large form open.
    parts = [
        f'--part\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
        for name, value in (
            ("csrf_token", person.cookie("_csrf_token")),
            ('file"; filename="home_log.csv', GOOD + rows),
        )
    ]
    about = {"Host": HOST, "Content-Type": "multipart/form-data; boundary=part"}
    body = "".join([*parts, "--part--\r\n"]).encode()
    answer = person.client.post("/incoming/files", data=body, headers=about)
    assert answer.status_code == 200
    assert cells_of_files(answer.text)[0][2:4] == ["1\N{NARROW NO-BREAK SPACE}201"] * 2


@pytest.mark.parametrize(
    ("name", "known"),
    [
        ("../../../home_log-evil.csv", "home_log-evil.csv"),
        ("/etc/home_log.csv", "home_log.csv"),
        ("home_log <b>.csv", "home_log <b>.csv"),
        ("..", "unnamed"),
    ],
)
def test_a_files_name_names_no_place_on_this_machine(app, aside, name, known):
    seen: list[Path] = []
    real = ingesting.ingest

    def looked_at(store, files, *given, **named):
        seen.extend(file.path for file in files)
        return real(store, files, *given, **named)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ingesting, "ingest", looked_at)
        answer = sent(browser_of(app, "manager"), (name, GOOD))
    assert answer.status_code == 200
    assert f">{html.escape(known)}<" in answer.text
    assert app.service.store.ingests()["file"].iloc[-1] == known
    assert [path.name for path in seen] == ["file-0"]
    assert seen[0].parent.parent == aside
    assert list(aside.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("home_log.csv", b"", "the file is empty."),
        ("home_log.csv", b"\x1f\x8b\x08\x00rest", "the compressed file is damaged"),
        ("home_log.xlsx", b"PK\x03\x04cut off", "the workbook is damaged or incomplete"),
        (
            "home_log.csv",
            b"MZ\x00\x01\x02\x03\x04\x05" * 30,
            "this is not a spreadsheet or CSV file.",
        ),
        ("notes.csv", b"a,b\n1,2\n", "neither its name nor its header row shows which table"),
    ],
)
def test_a_file_is_known_by_what_it_is_and_none_of_a_bad_one_goes_in(people, name, content, said):
    app, person = people
    version = app.service.store.data_version()
    answer = sent(person("manager"), (name, content))
    assert answer.status_code == 422
    assert "Nothing was imported" in answer.text
    assert said in answer.text
    assert app.service.store.data_version() == version


def test_a_form_without_a_file_or_with_an_unknown_source_says_so(people):
    _, person = people
    assert "No file was chosen." in sent(person("manager")).text
    answer = sent(person("manager"), ("home_log.csv", GOOD), source="../secret")
    assert answer.status_code == 409
    assert "There is no such source." in answer.text


def test_a_fault_in_the_midst_leaves_nothing_of_the_file_and_no_content_in_the_log(
    app, aside, monkeypatch, caplog
):
    person = browser_of(app, "manager")
    version = app.service.store.data_version()

    def breaks(*_: object, **__: object) -> None:
        raise RuntimeError(NOTE)

    monkeypatch.setattr("analysis.store.Writer.count", breaks)
    with caplog.at_level(logging.DEBUG):
        answer = sent(person, ("home_log.csv", GOOD))
    assert answer.status_code == 500
    assert NOTE not in answer.text
    assert "RuntimeError" in caplog.text
    assert NOTE not in caplog.text
    assert app.service.store.data_version() == version
    assert entries(app) == ["e1", "e2", "e3"]
    assert list(aside.iterdir()) == []


def test_nothing_of_a_file_is_written_into_the_log(app, caplog):
    with caplog.at_level(logging.DEBUG):
        sent(browser_of(app, "manager"), ("home_log.csv", MIXED))
    for content in (NOTE, "L9", "2031-02-30"):
        assert content not in caplog.text


def test_while_another_writes_the_page_says_who_is_in_the_way(app, monkeypatch):
    monkeypatch.setattr(ingesting, "PATIENCE_SECONDS", 0.2)
    person = browser_of(app, "manager")
    holding, done = threading.Event(), threading.Event()

    def hold() -> None:
        with app.service.store.writing(file_info()):
            holding.set()
            done.wait(30)

    other = threading.Thread(target=hold)
    other.start()
    holding.wait(30)
    try:
        answer = sent(person, ("home_log.csv", GOOD))
    finally:
        done.set()
        other.join()
    assert answer.status_code == 409
    assert "Nothing more was imported." in answer.text
    assert "is busy: another program has been writing to it for too long." in answer.text
    assert "g1" not in entries(app)
    assert sent(person, ("home_log.csv", GOOD)).status_code == 200


def test_a_look_at_a_past_day_takes_nothing_in(store_url):
    past = (NOW - timedelta(days=3)).date()
    app = create_app(DashboardConfig(store_url=store_url, clock=Clock(), as_of=past))
    person = browser_of(app, "manager")
    assert "shows an earlier day" in person.get("/incoming/files").text
    assert "log-files" not in person.page("/incoming").text
    form = {
        "csrf_token": person.cookie("_csrf_token"),
        "file": (io.BytesIO(GOOD.encode()), "home_log.csv"),
    }
    answer = person.post("/incoming/files", form)
    assert answer.status_code == 409
    assert "This page shows an earlier day." in answer.text
    assert entries(app) == ["e1", "e2", "e3"]
    app.service.close()


def test_a_file_with_offsets_is_held_back_until_the_time_zone_is_set_as_by_the_command(app):
    """The day of such a moment is not known before, on a page as little as by a command."""
    person = browser_of(app, "manager")
    log = "entry_id,line_id,done_at,kind\nz1,L1,2031-03-01T21:00-05:00,flush\n"
    answer = sent(person, ("home_log-offset.csv", log))
    assert answer.status_code == 422
    assert "time zone is not set, so its day is not known" in answer.text
    assert "linedays policy --set FILE" in answer.text
    assert "z1" not in entries(app)
    zone = 'name = "clinic"\ntime_zone = "America/New_York"\n'
    app.service.store.set_policy(zone, "/clinic/policy.toml", "N1", NOW, redate=True)
    assert sent(person, ("home_log-offset.csv", log)).status_code == 200
    assert "z1" in entries(app)
