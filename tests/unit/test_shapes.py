"""Forty files in the shapes that clinics send, each read right with the profile that is proposed."""

from __future__ import annotations

import shutil
import struct
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
import xlsxwriter

from analysis.ingest import ingest
from analysis.ingest.near import codes_of
from analysis.ingest.profile_file import parse_profile
from analysis.ingest.profile_toml import as_toml
from analysis.ingest.proposal import propose
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault
from analysis.ingest.refused import listed
from analysis.ingest.unpack import plain_files
from analysis.store import Store
from tests.commands import run
from tests.ingest_files import LINES, POLICY, RECEIVED_AT, refusals, take_in, written
from tests.shaped import READ, SHAPES, text
from tests.shaped_otherwise import OTHERWISE

__all__ = ["run"]


@pytest.fixture(scope="module")
def registered(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store with lines, in which nothing else stays."""
    folder = tmp_path_factory.mktemp("shapes")
    with Store.open(f"sqlite:///{folder}/shapes.sqlite") as opened:
        take_in(opened, written(folder, "lines.csv", LINES))
        yield opened


@pytest.fixture
def trial(registered: Store) -> Iterator[Store]:
    """The same store for a test that leaves nothing behind."""
    with registered.trying() as opened:
        yield opened


def entries(store: Store) -> list[tuple[str, ...]]:
    """Line, moment, kind, condition and findings of each entry."""
    log = store.records().home_log
    columns = [
        log["line_id"],
        log["done_at"].dt.strftime("%Y-%m-%d %H:%M"),
        *(log[name] for name in ("kind", "dressing_condition", "findings")),
    ]
    rows = zip(*(column.astype(object).fillna("") for column in columns), strict=True)
    return sorted(rows)


@pytest.mark.parametrize("name", SHAPES)
def test_a_file_is_read_right_with_the_profile_that_is_proposed(
    trial: Store, tmp_path: Path, name: str
) -> None:
    make, answers = SHAPES[name]
    (sent := tmp_path / "sent").mkdir()
    (unpacked := tmp_path / "unpacked").mkdir()
    path = make(sent)
    (log,) = plain_files(LogFile.at(path), unpacked)
    asked = {question.key for question in propose(log, "ward", POLICY).questions}
    assert set(answers) <= asked
    found = propose(log, "ward", POLICY, answers)
    assert found.questions == ()
    profile = parse_profile(as_toml(found.profile), "ward", "ward")
    done = ingest(
        trial, path, POLICY, received_at=RECEIVED_AT, ingested_at=RECEIVED_AT, sources=[profile]
    )
    assert [str(fault) for fault in done.faults] == []
    assert refusals(trial) == []
    assert entries(trial) == READ


@pytest.mark.parametrize("name", OTHERWISE)
def test_a_file_of_other_rows_is_read_right_with_the_profile_that_is_proposed(
    trial: Store, tmp_path: Path, name: str
) -> None:
    shape = OTHERWISE[name]
    path = shape.make(tmp_path)
    found = propose(LogFile.at(path), "ward", POLICY, shape.answers)
    assert found.questions == ()
    before = len(trial.records().lines)
    done = take_in(trial, path, profile=parse_profile(as_toml(found.profile), "ward", "ward"))
    assert (done.faults, done.refused) == ((), shape.refused)
    table, *columns = shape.columns
    rows = getattr(trial.records(), table).iloc[before if table == "lines" else 0 :]
    dates = rows[columns].select_dtypes("datetime")
    shown = rows[columns].astype(object).assign(**{c: dates[c].astype(str) for c in dates})
    assert sorted(map(tuple, shown.to_numpy().tolist())) == sorted(shape.read)
    fixes = listed(trial.refused(), codes_of(trial.registry()))["fix"]
    assert [fix.endswith("Did you mean L1?") for fix in fixes] == [True] * shape.refused


def test_there_are_forty_shapes_and_most_raise_no_question() -> None:
    assert len(SHAPES) == 40
    assert sum(not answers for _, answers in SHAPES.values()) == 37


def test_a_submission_with_several_ticks_is_several_entries_and_counts_its_findings_once(
    trial: Store, tmp_path: Path
) -> None:
    head = ["entry_id", "Line no", "Date", "Dressing changed", "Flushed", "Skin"]
    rows = [
        ["7", "L1", "2031-03-25", "yes", "yes", "redness"],
        ["8", "L1", "2031-03-26", "no", "no", "nothing"],
        ["9", "L1", "2031-03-27", "perhaps", "yes", "nothing"],
    ]
    first = written(tmp_path, "first.csv", text([head, *rows[:2]]))
    profile = propose(LogFile.at(first), "form", POLICY).profile
    path = written(tmp_path, "form.csv", text([head, *rows]))
    take_in(trial, path, profile=parse_profile(as_toml(profile), "form", "form"))
    log = trial.records().home_log
    found = log[["entry_id", "kind", "findings"]].astype(object).fillna("").to_numpy().tolist()
    assert sorted(found) == [
        ["7/dressing_change", "dressing_change", "redness"],
        ["7/flush", "flush", ""],
    ]
    assert refusals(trial) == [
        (3, "kind", "missing_value"),
        (4, "Dressing changed", "unreadable_tick"),
    ]


TICKED = "entry_id,Line no,Date,Dressing changed,Flushed,Skin looked at\n"
BOTH = "7,L1,2031-03-25,yes,yes,no\n"
ONE = "7,L1,2031-03-25,yes,no,no\n"
MINUTE = timedelta(minutes=1)


def test_a_submission_sent_again_without_a_tick_takes_its_entry_out(
    trial: Store, tmp_path: Path
) -> None:
    def sent(name: str, rows: str, minutes: int) -> tuple[list[str], str]:
        path = written(tmp_path, name, TICKED + rows)
        profile = propose(LogFile.at(path), "form", POLICY).profile
        done = take_in(trial, path, profile=profile, received_at=RECEIVED_AT + minutes * MINUTE)
        assert done.read == done.stored + done.same_as_before + done.refused
        return sorted(trial.records().home_log["entry_id"]), " ".join(done.notes)

    dressing, flush = "7/dressing_change", "7/flush"
    assert sent("1.csv", BOTH, 0) == ([dressing, flush], "")
    found, said = sent("2.csv", ONE, 1)
    assert (found, "1 log entry is void now" in said) == ([dressing], True)
    assert sent("3.csv", ONE + "8,L1,2031-03-26,no,yes,no\n", 2) == ([dressing, "8/flush"], "")
    assert sent("4.csv", BOTH, 3)[0] == [dressing, flush, "8/flush"]  # ticked once more
    assert sent("5.csv", ONE + BOTH, 4)[0] == [dressing, flush, "8/flush"]  # the last row counts
    assert sent("6.csv", BOTH + ONE, 5)[0] == [dressing, "8/flush"]
    # An older export that comes late changes nothing.
    assert sent("7.csv", BOTH, 1)[0] == [dressing, "8/flush"]


def test_folders_in_folders_are_searched_and_links_are_not_followed(
    trial: Store, tmp_path: Path
) -> None:
    below = tmp_path / "sent" / "north" / "2031"
    below.mkdir(parents=True)
    for folder, line in ((below, "L1"), (tmp_path / "sent" / "north", "L3")):
        log = f"line_id,done_at,kind\n{line},2031-03-04,flush\n"
        (folder / "home_log.csv").write_text(log)
    (below / "round").symlink_to(tmp_path / "sent")
    done = take_in(trial, tmp_path / "sent")
    assert [t.file for t in done.tables] == ["north/2031/home_log.csv", "north/home_log.csv"]
    assert [n for n in done.notes if "north/2031/round" in n]


def test_standard_input_is_a_file(run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "in.csv").write_text(LINES)
    with (tmp_path / "in.csv").open() as stream:
        monkeypatch.setattr("sys.stdin", stream)
        code, out, _ = run("ingest", "-")
    assert (code, out.splitlines()[1]) == (0, "standard input,lines,5,5,0,0,0")


def test_a_text_that_many_cells_share_does_not_fill_the_memory(
    trial: Store, tmp_path: Path
) -> None:
    long = "x" * 32_000
    book = xlsxwriter.Workbook(path := tmp_path / "home_log.xlsx")
    sheet = book.add_worksheet("Sheet")
    sheet.write_row(0, 0, ["line_id", "done_at", "kind", "note"])
    for at in range(1, 7000):
        sheet.write_row(at, 0, ["L1", "2031-03-01", "note", long])
    book.close()
    assert path.stat().st_size < 200_000
    (fault,) = take_in(trial, path).faults
    assert fault.code is FileFault.TOO_MUCH_TEXT
    assert 'sheet "Sheet" are longer than 200 million' in str(fault)


def test_a_formula_error_of_an_old_workbook_is_refused_and_not_blank(
    trial: Store, tmp_path: Path
) -> None:
    shutil.copy(Path(__file__).parents[1] / "shapes" / "error.xls", tmp_path / "home_log.xls")
    take_in(trial, tmp_path / "home_log.xls")
    assert refusals(trial) == [(2, "kits_left", "error_cell")]


def test_a_planned_discharge_of_the_next_weeks_is_read(trial: Store, tmp_path: Path) -> None:
    head, first, *_ = LINES.splitlines()
    planned = first.replace("L1,C1,F1", "L7,C7,F7").replace("2031-01-20", "2031-05-20")
    done = take_in(trial, written(tmp_path, "lines.csv", f"{head}\n{planned}\n"))
    assert (done.stored, done.refused) == (1, 0)


@pytest.mark.parametrize(
    ("before", "after", "why"),
    [
        (struct.pack("<4I", 0, 3, 0, 4), struct.pack("<4I", 0, 1 << 31, 0, 1 << 31), "outside"),
        (b"\x94\x01\x10" + struct.pack("<4I", 0, 3, 0, 4), b"\x94\x01\x00", "too short"),
    ],
)
def test_a_binary_workbook_with_a_wrong_record_is_damaged_and_does_not_stop_the_program(
    trial: Store,
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
    before: bytes,
    after: bytes,
    why: str,
) -> None:
    make, _ = SHAPES["xlsb (by hand)"]
    path = make(tmp_path)
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    sheet = members["xl/worksheets/sheet1.bin"]
    assert before in sheet
    members["xl/worksheets/sheet1.bin"] = sheet.replace(before, after)
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    (fault,) = take_in(trial, path).faults
    assert fault.code is FileFault.BROKEN_WORKBOOK
    assert why in str(fault)
    assert capfd.readouterr().err == ""
