"""No cell of a file that leaves is computed by a spreadsheet program, or read by other accounts."""

from __future__ import annotations

import csv
import io
import stat
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest

from analysis.cli.app import main
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.tables.printed import as_csv

FAMILY = '=HYPERLINK("x")'
LINES = """\
line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,dressing_on,nurse,+own
@L1,-C1,"=HYPERLINK(""x"")",north,picc,2031-03-01,2031-03-01,transparent,2031-03-01,+N1,=1
L2,C2,F2,north,picc,2031-03-01,2031-02-01,transparent,2031-03-01,-4.5,
"""
AS_OF = ("--as-of", "2031-03-20")


@pytest.fixture(name="command")
def _command(tmp_path, monkeypatch, capsys):
    """Run a command in a folder with a store of two lines, one of which is refused."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LINEDAYS_STORE", raising=False)
    Path("lines.csv").write_text(LINES, encoding="utf-8")
    with Store.open("sqlite:///linedays.sqlite") as store:
        found = ingest(
            store, [tmp_path / "lines.csv"], shipped_policy(),
            received_at=datetime(2031, 3, 2, tzinfo=UTC),
        )  # fmt: skip
    assert (found.stored, found.refused) == (1, 1)

    def run(*words):
        monkeypatch.setattr(sys, "argv", ["linedays", *words])
        with pytest.raises(SystemExit):
            main()
        return capsys.readouterr().out

    return run


def cells(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))


def is_formula(cell: str) -> bool:
    if cell.startswith(("+", "-")):
        return not cell[1:].replace(".", "", 1).isdigit()
    return cell.startswith(("=", "@", "\t", "\r"))


def test_texts_and_headers_are_never_formulas_and_numbers_stay_numbers():
    frame = pd.DataFrame(
        {"=head": ["=1", "@x", "-1+1", "+4", "F1", None], "n": [-1.5, 2, 3, 4, 5, 6]}
    )
    rows = cells(as_csv(frame))
    assert [row[0] for row in rows] == ["'=head", "'=1", "'@x", "'-1+1", "+4", "F1", ""]
    assert rows[1][1] == "-1.5"


@pytest.mark.parametrize("words", [("lines", *AS_OF), ("calls", *AS_OF), ("refused",)])
def test_no_command_prints_a_formula(command, words):
    rows = cells(command(*words, "--format", "csv"))
    assert len(rows) > 1
    assert not [cell for row in rows for cell in row if is_formula(cell)]


def test_files_to_correct_hold_no_formula(command, tmp_path):
    command("refused", "--write", "back")
    (file,) = (tmp_path / "back").glob("*.csv")
    rows = cells(file.read_text(encoding="utf-8-sig"))
    assert not [cell for row in rows for cell in row if is_formula(cell)]


def test_exported_records_come_back_as_they_were(command, tmp_path):
    command("export", "--write", "out", *AS_OF)
    exported = tmp_path / "out" / "records" / "lines.csv"
    assert "'=HYPERLINK" in exported.read_text(encoding="utf-8")
    with Store.open(f"sqlite:///{tmp_path / 'other.sqlite'}") as other:
        ingest(other, [exported], shipped_policy(), received_at=datetime(2031, 3, 3, tzinfo=UTC))
        line = other.records().lines.iloc[0]
    assert (line["line_id"], line["child_id"], line["family_id"], line["nurse"]) == (
        "@L1", "-C1", FAMILY, "+N1",
    )  # fmt: skip


def test_files_that_leave_are_for_the_account_that_made_them(command, tmp_path, monkeypatch):
    monkeypatch.setattr("analysis.cli.reporting.today", lambda _: date(2031, 3, 12))
    monkeypatch.setattr("analysis.cli.reporting.pdf_file", lambda _: b"%PDF")  # slow to make
    command("calls", *AS_OF, "--out", "calls.csv")
    command("refused", "--write", "back")
    command("report", "--week", "2031-W10", "--for", "manager", "--out", "reports")
    files = [
        tmp_path / "calls.csv",
        *(tmp_path / "back").iterdir(),
        *(tmp_path / "reports").iterdir(),
    ]
    assert {file.suffix for file in files} == {".csv", ".html", ".pdf"}
    assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}
    assert {stat.S_IMODE((tmp_path / n).stat().st_mode) for n in ("back", "reports")} == {0o700}
