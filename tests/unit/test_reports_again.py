"""The same reports from any process, folder and order of import."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

import analysis
from analysis.cli import main
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.reports import REPORTS
from analysis.store import Store

ROOT = Path(analysis.__file__).parents[1]
COMMAND = "from analysis.cli import main; main()"
RECEIVED = datetime(2025, 3, 3, 20, tzinfo=UTC)
FILES = {
    "lines.csv": """\
line_id,child_id,family_id,site,nurse,line_type,placed_on,home_from,dressing_type,dressing_on
L1,C1,F1,North,N1,tunneled_cvc,2024-12-01,2024-12-10,transparent,2024-12-09
L2,C2,F2,North,N1,picc,2024-12-01,2024-12-10,transparent,2024-12-09
L3,C3,F3,South,N2,tunneled_cvc,2024-12-01,2024-12-10,transparent,2024-12-09
""",
    "home_log_north.csv": """\
entry_id,line_id,caregiver_id,done_at,kind,findings,steps_missed
e1,L1,K1,2025-02-26T07:30,skin_check,redness;rash,
e2,L2,K2,2025-02-20,dressing_change,none,clean_surface;mask
""",
    "home_log_south.csv": """\
entry_id,line_id,caregiver_id,done_at,kind,findings,steps_missed
e3,L3,K3,2025-02-18,dressing_change,none,mask
""",
}


def stored(folder: Path, order: list[str]) -> Path:
    """A store into which the files went in one order."""
    folder.mkdir()
    with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
        for name in order:
            (folder / name).write_text(FILES[name])
            summary = ingest(store, [folder / name], shipped_policy(), received_at=RECEIVED)
            assert summary.refused == 0
    return folder / "store.sqlite"


def asked(store: Path) -> list[str]:
    """The words of the command."""
    words = ["--week", "2025-W09", "--known-at", "2025-03-03", "--for", "all", "--copy", "team"]
    return ["report", *words, "--store", f"sqlite:///{store}", "--out", "reports"]


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def written_here(store: Path, folder: Path) -> dict[str, bytes]:
    """Reports written by this process, whose hashes of texts begin anywhere."""
    folder.mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr(sys, "argv", ["linedays", *asked(store)])
        with pytest.raises(SystemExit) as ended:
            main()
    assert not ended.value.code
    return files_in(folder / "reports")


def written_elsewhere(store: Path, folder: Path) -> dict[str, bytes]:
    """Reports written by a process of its own, whose hashes of texts begin elsewhere."""
    folder.mkdir()
    subprocess.run(
        [sys.executable, "-c", COMMAND, *asked(store)],
        check=True,
        capture_output=True,
        cwd=folder,
        env={**os.environ, "PYTHONHASHSEED": "4242", "PYTHONPATH": str(ROOT)},
    )
    return files_in(folder / "reports")


@pytest.fixture(scope="module")
def reports(tmp_path_factory):
    """The same week written by two processes from two stores."""
    folder = tmp_path_factory.mktemp("again")
    one = stored(folder / "one", list(FILES))
    other = stored(folder / "other", ["lines.csv", "home_log_south.csv", "home_log_north.csv"])
    return written_here(one, folder / "here"), written_elsewhere(other, folder / "away from there")


def test_another_process_folder_and_order_of_import_give_the_same_bytes(reports):
    first, second = reports
    assert set(first) == {
        f"linedays-2025-W09-{role}-team.{kind}" for role in REPORTS for kind in ("html", "pdf")
    }
    assert first.keys() == second.keys()
    assert [name for name in first if first[name] != second[name]] == []


def test_a_report_names_neither_a_store_or_file_nor_the_moment_it_was_made(reports):
    assert reports[0]
    for name, content in reports[0].items():
        for told in (b"sqlite", b"home_log_north", b"CreationDate", b"ModDate"):
            assert told not in content, (name, told)
