"""The guide's steps for a column and a finding code, carried out on a copy of the project.

The steps are read from DEVELOPERS.md. A store and a backup made before them then have to go on
working with the changed program, as a programme's own would after an update.
"""

import json
import os
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROJECT = ("analysis", "dashboard", "synthetic_data", "tests/docs/after_the_steps.py")

HEAD = "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,dressing_on"
LINES = "\n".join(
    [
        HEAD,
        *(  # a de-identified extract needs more than ten children, followed for over 90 days
            f"L{n},C{n},F{n},north,picc,2030-11-25,2030-11-28,transparent,2030-11-27"
            for n in range(1, 13)
        ),
    ]
)
LOG = """\
entry_id,line_id,done_at,kind,findings,mood
e1,L1,2031-03-08,dressing_change,none,cheerful
e2,L1,2031-03-15,dressing_change,none,
,L1,2031-03-22,dressing_change,none,
e3,L1,2031-03-23,skin_check,crust,
"""
NEWER = """\
entry_id,line_id,done_at,kind,findings,mood
e4,L1,2031-03-29,dressing_change,none,cheerful too
"""


def section(title: str) -> str:
    return GUIDE.split(f"### {title}\n")[1].split("\n### ")[0]


def blocks(title: str) -> list[str]:
    """Code of a section's steps, without the indentation of the list."""
    found = re.findall(r"^( *)```\w+\n(.*?)^ *```$", section(title), re.DOTALL | re.MULTILINE)
    assert found
    return [re.sub(f"^{indent}", "", code, flags=re.MULTILINE) for indent, code in found]


def insert(file: Path, mark: str, text: str, *, instead: bool = False) -> None:
    """Put text after the one line that begins with a mark, or in its place."""
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    [at] = [n for n, line in enumerate(lines) if line.strip().startswith(mark)]
    before = lines[:at] if instead else lines[: at + 1]
    file.write_text("".join([*before, text, *lines[at + 1 :]]), encoding="utf-8")


def follow_the_steps(copy: Path) -> None:
    """Do to a copy of the project what the guide says."""
    [code] = blocks("Add a finding or step code")
    insert(copy / "analysis/policy/shipped.toml", "[edition.finding]", code)

    field, name, migration = blocks("Add a column to a table that comes in")
    insert(copy / "analysis/tables/fields/records.py", 'free_text("note"', field)
    last = name.strip().rsplit(" ", 1)[0]
    insert(copy / "analysis/tables/incoming.py", last, name, instead=True)
    versions = copy / "analysis/store/migrations/versions"
    newest = max(path.stem.split("_")[0] for path in versions.glob("[0-9]*.py"))
    following = f"{int(newest) + 1:04}"
    migration = migration.replace("NEWEST", newest).replace("NEXT", following)
    (versions / f"{following}_mood.py").write_text(migration, encoding="utf-8")


@pytest.fixture(name="after", scope="module")
def _after(tmp_path_factory):
    folder = tmp_path_factory.mktemp("how-to")
    for name, text in (("lines.csv", LINES), ("home_log.csv", LOG), ("newer.csv", NEWER)):
        (folder / name).write_text(text, encoding="utf-8")
    with Store.open(f"sqlite:///{folder / 'old.sqlite'}") as store:
        files = [folder / "lines.csv", folder / "home_log.csv"]
        received = datetime(2031, 4, 1, 5, tzinfo=UTC)
        tables = ingest(store, files, shipped_policy(), received_at=received).tables
        assert [(t.stored, t.refused) for t in tables] == [(12, 0), (3, 1)]
        store.backup(folder / "before.zip")

    copy = folder / "project"
    for name in PROJECT:
        place = copy / name
        place.parent.mkdir(parents=True, exist_ok=True)
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, place)  # with what was compiled before
        else:
            shutil.copy(ROOT / name, place)
    shutil.copy(ROOT / "DEVELOPERS.md", copy)
    follow_the_steps(copy)

    def run(*words: object) -> str:
        here = {**os.environ, "PYTHONPATH": str(copy)}
        program = [sys.executable, *map(str, words)]
        made = subprocess.run(
            program, cwd=copy, env=here, capture_output=True, text=True, check=False
        )
        assert made.returncode == 0, made.stderr
        return made.stdout

    run("-m", "analysis.tables.describe")
    found = json.loads(run("tests/docs/after_the_steps.py", folder).splitlines()[-1])
    assert found["program"] == str(copy)
    return {**found, "guide": (copy / "DEVELOPERS.md").read_text(encoding="utf-8")}


def test_the_guide_lists_the_new_column(after):
    assert "| mood | text |" in after["guide"]


def test_a_backup_made_before_is_restored(after):
    assert after["restore"] == "done"
    assert [entry for entry, _ in after["restored"]] == ["", "e1", "e2"]


def test_the_same_files_again_add_only_what_the_program_did_not_know(after):
    lines, log = after["again"]
    assert lines == [0, 12, 0]
    # The kept value moves into the column and the new finding code is accepted.
    assert log == [2, 2, 0]
    assert after["moods_again"] == [["", ""], ["e1", "cheerful"], ["e2", ""], ["e3", ""]]
    assert [stored for stored, _, _ in after["third"]] == [0, 0]


def test_a_new_file_fills_the_new_column(after):
    assert after["new"] == [[1, 0, 0]]
    assert ["e4", "cheerful too"] in after["moods_new"]


def test_a_new_backup_is_restored_with_the_column(after):
    assert (after["backup"], after["restore_new"]) == ("done", "done")
    assert after["moods_second"] == after["moods_new"]


def test_free_text_that_nobody_declared_open_is_in_no_plain_export_and_no_extract(after):
    assert (after["export"], after["deidentified"]) == ("done", "done")
    assert not after["in_plain_export"]
    assert not after["in_extract"]


def test_the_new_finding_code_is_counted(after):
    assert after["crust_events"] == ["1"]


def test_the_pages_open(after):
    assert after["pages"] == {"/": 200, "/family/F1": 200, "/definitions": 200}
