"""Files sent to a page can be checked first: nothing is stored until the answer."""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path

import pytest

from dashboard.incoming.held import HELD_SECONDS, HeldFiles
from tests.signed_in import (
    Browser,
    app,
    browser_of,
    clock,
    programme_file,
    store_url,
    without_marks,
)
from tests.unit.test_incoming_files import MIXED, PROFILE, aside, entries, sent

__all__ = ["app", "aside", "clock", "programme_file", "store_url"]


def number_of(text: str) -> str:
    found = re.search(r'name="held" value="([0-9a-f]{32})"', text)
    assert found is not None
    return found[1]


def answered(person: Browser, number: str, do: str):
    page = person.get("/incoming/files")
    found = re.search(r'name="csrf_token" value="([^"]+)"', page.text)
    assert found is not None
    form = {"csrf_token": found[1], "held": number, "do": do}
    return person.post("/incoming/files", form)


def test_a_file_is_checked_then_imported_without_being_sent_again(app, aside: Path) -> None:
    person = browser_of(app, "manager")
    version = app.service.store.data_version()
    page = sent(person, ("home_log-march.csv", MIXED), do="preview")
    assert page.status_code == 200
    assert "Nothing is stored yet. Of 3 rows, 1 would be new and 2 would be refused." in page.text
    assert "2031-02-30 → not used" in without_marks(page.text)
    assert "There is no such day." in page.text
    assert app.service.store.data_version() == version
    (folder,) = aside.iterdir()
    assert folder.stat().st_mode & 0o077 == 0
    done = answered(person, number_of(page.text), "import")
    assert "1 file, 3 rows: 1 new and 2 refused." in done.text
    assert entries(app) == ["e1", "e2", "e3", "g1"]
    assert list(aside.iterdir()) == []
    again = answered(person, number_of(page.text), "import")
    assert again.status_code == 409
    assert "These files are no longer here" in again.text


def test_a_file_that_is_left_is_deleted_and_a_second_check_takes_the_place_of_the_first(
    app, aside: Path
) -> None:
    person = browser_of(app, "manager")
    first = number_of(sent(person, ("home_log.csv", MIXED), do="preview").text)
    second = number_of(sent(person, ("home_log.csv", MIXED), do="preview").text)
    assert answered(person, first, "leave").status_code == 303
    assert len(list(aside.iterdir())) == 1
    left = answered(person, second, "leave")
    assert (left.status_code, left.headers["Location"]) == (303, "/incoming")
    assert list(aside.iterdir()) == []
    assert entries(app) == ["e1", "e2", "e3"]


def test_a_file_that_cannot_be_read_can_only_be_left(app, aside: Path) -> None:
    page = sent(browser_of(app, "manager"), ("lines.csv", b"%PDF-1.7 \x00\x01"), do="preview")
    assert "This is not a spreadsheet" in page.text.replace("this is", "This is")
    assert 'value="import"' not in page.text
    assert 'value="leave"' in page.text


def test_what_is_held_is_of_one_person_and_not_for_long(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    files = HeldFiles.of_store("sqlite:///a.sqlite")
    (path := tmp_path / "sent").write_text(PROFILE)
    number = files.hold("N1", [(path, "ward.csv")], "ward").number
    assert files.held("N2", number) is None
    assert files.held("N1", "0" * 32) is None
    found = files.held("N1", number)
    assert found is not None
    assert [(p.read_text(), name) for p, name in found.files] == [(PROFILE, "ward.csv")]
    assert found.source == "ward"
    (place,) = files.folder.iterdir()
    long_ago = place.stat().st_mtime - HELD_SECONDS - 1
    os.utime(place, (long_ago, long_ago))
    assert files.held("N1", number) is None
    assert not list(files.folder.iterdir())


def test_a_folder_that_others_may_read_is_not_used(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    files = HeldFiles.of_store("sqlite:///a.sqlite")
    files.folder.mkdir()
    files.folder.chmod(0o755)
    (path := tmp_path / "sent").write_text("x")
    with pytest.raises(PermissionError, match="only this user may read"):
        files.hold("N1", [(path, "ward.csv")], None)
