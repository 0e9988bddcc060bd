"""Exported tables: the commands' own numbers, files that come in again, nothing private unasked."""

import csv
import getpass
import importlib
import io
import pkgutil
import shutil
import sys
from datetime import UTC, date, datetime

import pandas as pd
import pyarrow.parquet as pq
import pytest

from analysis import tables as tables_room
from analysis.cli.app import main
from analysis.exports import OF_A_COMMAND, RECORDS, TABLES, record_tables
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.tables import KNOWN, Frame
from analysis.vocabulary import Arrangement, CallOutcome
from synthetic_data import generate_blocks, write_canonical

POLICY = shipped_policy()
AS_OF = date(2031, 3, 10)
EARLIER = date(2031, 2, 1)
NOW = datetime(2031, 3, 10, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def url(tmp_path_factory):
    """A store of fifteen invented families, with corrections, withdrawals and a recorded call."""
    folder = tmp_path_factory.mktemp("exports")
    with Store.open(f"sqlite:///{folder / 'store.sqlite'}") as store:
        files = write_canonical(generate_blocks(15, seed=5, until=AS_OF), folder / "files", "csv")
        for path in files:
            ingest(store, [path], POLICY, received_at=NOW)
        log = store.records().home_log
        last = log[log["entry_id"].notna()].iloc[-1]
        later = folder / "home_log-later.csv"
        later.write_text(
            "received_at,entry_id,line_id,done_at,kind,void,note\n"
            f"2031-03-10T06:00:00Z,{last.entry_id},{last.line_id},2031-03-09,flush,,said = hush\n"
            f"2031-03-10T07:00:00Z,{last.entry_id},{last.line_id},2031-03-09,flush,yes,\n"
            f"2031-03-10T08:00:00Z,,{last.line_id},2031-03-09T23:30:00.25-02:00,flush,,\n"
        )
        assert ingest(store, [later], POLICY, received_at=NOW).refused == 0
        store.record_call(
            last.family_id, "N1", CallOutcome.REACHED, "agreed hush", date(2031, 3, 12), NOW
        )
        aside = {"until_on": date(2031, 3, 20), "why": "holidays hush"}
        store.arrange(Arrangement.SET_ASIDE, last.family_id, "N1", NOW, AS_OF, **aside)
    return f"sqlite:///{folder / 'store.sqlite'}"


@pytest.fixture
def run(url, monkeypatch, capsys, tmp_path):
    """Run a command over the store; returns exit code, output and errors."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LINEDAYS_STORE", url)

    def command(*words, as_of=AS_OF):
        monkeypatch.setattr(sys, "argv", ["linedays", *words, "--as-of", str(as_of)])
        with pytest.raises(SystemExit) as stop:
            main()
        shown = capsys.readouterr()
        assert "Traceback" not in shown.err
        return stop.value.code or 0, shown.out, shown.err

    return command


def files_of(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def rows_of(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


CALCULATED = ("home_lines", "intervals", "care", "skin_events", "outcome_events", "families", "tally",
        "event_onsets", "call_families", "call_reasons", "kits")  # fmt: skip
"""Tables from which every number follows."""


SLOW = ("adherence", "rates")
"""Tables with every split; looked at in one test."""


def facts(snapshot):
    """All that follows from a snapshot, without numbers of stored rows, in an order of its own."""
    found = {name: table.frame for name, table in record_tables(snapshot).items()}
    found |= {name: TABLES[name](snapshot).frame for name in CALCULATED}
    return {
        name: frame.astype("string").sort_values(list(frame.columns), ignore_index=True)
        for name, frame in found.items()
    }


def test_every_frame_of_the_catalogue_can_be_had():
    named = set()
    for module in pkgutil.iter_modules(tables_room.__path__, "analysis.tables."):
        held = vars(importlib.import_module(module.name)).values()
        named |= {entry.name for entry in held if isinstance(entry, Frame)}
    named |= set(KNOWN)
    named -= {"earlier_lines"}  # taken out with every version of `lines`
    assert named - OF_A_COMMAND.keys() - TABLES.keys() == set(RECORDS)
    assert not OF_A_COMMAND.keys() & (TABLES.keys() | set(RECORDS))


@pytest.mark.parametrize("versions", ["current", "all"])
def test_exported_records_come_in_again_and_tell_the_same(run, url, tmp_path, versions):
    code, _, _ = run("export", *RECORDS, "--write", "out", "--versions", versions, "--with", "note")
    assert code == 0
    days = [AS_OF] if versions == "current" else [EARLIER, AS_OF]
    with (
        Store.open(url) as before,
        Store.open(f"sqlite:///{tmp_path}/again.sqlite") as after,
    ):
        summary = ingest(after, [tmp_path / "out" / "records"], POLICY, received_at=NOW)
        assert (summary.refused, summary.faults, summary.notes) == (0, (), ())
        for day in days:
            left, right = (take(store, POLICY, day) for store in (before, after))
            without = left.records.arrangements.iloc[:0]
            left = facts(left.with_acts(left.records.calls, without))
            for name, frame in facts(right).items():
                gone = {"contact", "language"} & set(frame.columns)
                expected = left[name].drop(columns=list(gone))
                pd.testing.assert_frame_equal(frame.drop(columns=list(gone)), expected, obj=name)


def test_a_day_stays_a_day_and_a_moment_a_moment(run, tmp_path):
    run("export", "home_log", "--write", "out", as_of="2031-03-11")
    last = rows_of(tmp_path / "out/records/home_log.csv")[-1]
    assert last["done_at"] == "2031-03-10T01:30:00.250000Z"
    assert last["received_at"] == "2031-03-10T08:00:00Z"


def test_the_same_command_gives_the_same_bytes_also_after_later_rows(run, url, tmp_path):
    run("export", *RECORDS, *CALCULATED, "--write", "one", as_of=EARLIER)
    copy = tmp_path / "later.sqlite"
    shutil.copy(url.removeprefix("sqlite:///"), copy)
    with Store.open(f"sqlite:///{copy}", create=False) as store:
        line = store.records().lines.iloc[0]
        path = tmp_path / "home_log-more.csv"
        path.write_text(f"line_id,done_at,kind\n{line.line_id},2031-01-20,flush\n")
        ingest(store, [path], POLICY, received_at=NOW)
    run(
        "export",
        *RECORDS,
        *CALCULATED,
        "--write",
        "two",
        "--store",
        f"sqlite:///{copy}",
        as_of=EARLIER,
    )
    assert files_of(tmp_path / "one") == files_of(tmp_path / "two")


def test_a_table_holds_what_its_command_prints(run, tmp_path):
    run("export", "line_table", "dwell", *SLOW, "--write", "out")
    assert_described(tmp_path / "out")
    _, printed, _ = run("lines", "--format", "csv")
    exported = rows_of(tmp_path / "out/tables/line_table.csv")
    of_task = [
        {k: v for k, v in r.items() if k != "task"} for r in exported if r["task"] == "dressing"
    ]
    assert of_task == list(csv.DictReader(io.StringIO(printed)))
    for command, name, split in (
        (("adherence", "--by", "site"), "adherence", {"task": "dressing", "by": "site"}),
        (("rates", "--event", "skin", "--by", "month"), "rates", {"event": "skin", "by": "month"}),
        (("dwell",), "dwell", {}),
    ):
        _, printed, _ = run(*command, "--format", "csv")
        exported = [
            {k: v for k, v in row.items() if k not in split}
            for row in rows_of(tmp_path / f"out/tables/{name}.csv")
            if all(row[k] == v for k, v in split.items())
        ]
        assert exported == list(csv.DictReader(io.StringIO(printed))), name


def test_parquet_keeps_types_and_says_what_csv_says(run, tmp_path):
    names = (*RECORDS, *CALCULATED)
    run("export", *names, "--write", "typed", "--as", "parquet", "--with", "note")
    run("export", *names, "--write", "text", "--with", "note")
    log = pq.read_table(tmp_path / "typed/records/home_log.parquet")
    kinds = {name: str(log.schema.field(name).type) for name in log.column_names}
    assert kinds["received_at"] == "timestamp[us, tz=UTC]"
    assert kinds["done_on"] == "date32[day]"
    assert kinds["kits_left"] == "int64"
    assert kinds["kind"].startswith("dictionary<values=string")
    assert kinds["note"] == "string"
    for name in CALCULATED:
        typed = pq.read_table(tmp_path / f"typed/tables/{name}.parquet")
        text = rows_of(tmp_path / f"text/tables/{name}.csv")
        assert typed.num_rows == len(text)
        if text:
            assert typed.column_names == list(text[0])
    spans = pq.read_table(tmp_path / "typed/tables/intervals.parquet").to_pylist()
    text = rows_of(tmp_path / "text/tables/intervals.csv")
    assert [str(row["start_on"]) for row in spans] == [row["start_on"] for row in text]
    assert sum(row["on_time"] for row in spans) == sum(row["on_time"] == "yes" for row in text)


def assert_described(folder):
    """Every file has a dictionary of its columns, and no number of a row is in it."""
    for path in [*folder.glob("records/*"), *folder.glob("tables/*")]:
        head = next(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
        described = rows_of(folder / "dictionary" / path.name)
        assert [row["column"] for row in described] == head
        assert all(row["meaning"] and row["dtype"] and row["blank_means"] for row in described)
        assert not {"row", "line", "evidence"} & set(head)


def test_every_column_of_every_file_is_in_its_dictionary(run, tmp_path):
    names = [name for name in (*RECORDS, *TABLES) if name not in SLOW]
    run("export", *names, "--write", "out", "--with", "contact", "--with", "language")
    assert {path.stem for path in tmp_path.glob("out/dictionary/*")} == set(names)
    assert_described(tmp_path / "out")


def test_contacts_languages_and_notes_are_written_only_when_asked_for(run, url, tmp_path):
    with Store.open(url) as store:
        records = store.records()
    private = {
        "contact": records.lines["contact"].dropna().unique().tolist(),
        "note": [*records.home_log["note"].dropna().unique(), "agreed hush", "holidays hush"],
    }
    assert all(private.values())
    names = (*RECORDS, "calls", "arrangements")
    _, _, shown = run("export", *names, *CALCULATED, "--write", "none")
    assert "Left out: how to reach a family, the language to call it in, free text" in shown
    for asked in private:
        _, _, shown = run("export", *names, "--write", asked, "--with", asked)
        assert "In it, as asked for" in shown
    for folder in ("none", *private):
        whole = b"\n".join(files_of(tmp_path / folder).values()).decode()
        for kind, words in private.items():
            assert any(word in whole for word in words) == (kind == folder), (folder, kind)
        assert ("language" in rows_of(tmp_path / folder / "records/lines.csv")[0]) is False


def test_nothing_is_written_over_and_wrong_words_are_told(run, tmp_path):
    (tmp_path / "there").mkdir()
    assert run("export", "lines", "--write", "there")[0] == 0
    before = files_of(tmp_path / "there")
    code, _, shown = run("export", "lines", "--write", "there")
    assert (code, "nothing is written over" in shown) == (3, True)
    assert files_of(tmp_path / "there") == before
    code, _, shown = run("export", "lines", "--write", "no/folder")
    assert (code, "can't be written" in shown, shown.count("\n")) == (3, True, 1)
    code, _, shown = run("export", "shoes", "--write", "new")
    assert (code, "is not a table" in shown) == (2, True)
    code, _, shown = run("export", "rate_chart", "--write", "new")
    assert (code, "linedays chart" in shown) == (2, True)
    assert not (tmp_path / "new").exists()
    assert {path.name for path in tmp_path.iterdir()} == {"there"}


def test_an_empty_store_gives_tables_without_rows(monkeypatch, tmp_path, run):
    Store.open(f"sqlite:///{tmp_path}/empty.sqlite").close()
    for kind, names in (("csv", ()), ("parquet", ("lines", "home_log", "intervals"))):
        words = ("--write", kind, "--as", kind, "--store", f"sqlite:///{tmp_path}/empty.sqlite")
        code, _, _ = run("export", *names, *words)
        assert code == 0
    assert rows_of(tmp_path / "csv/tables/intervals.csv") == []
    assert pq.read_table(tmp_path / "parquet/records/lines.parquet").num_rows == 0


def test_the_record_of_accesses_says_what_was_taken_out(run, url):
    run("export", "lines", "home_log", "--write", "out", "--with", "note", "--with", "contact")
    run("export", "deidentified", "--write", "extract")
    with Store.open(url) as store:
        record = store.people.accesses(2)
    assert set(record["who"]) == {"command line"}
    what, accounts = zip(*(text.split("; account ") for text in record["about"]), strict=True)
    assert set(what) == {"de-identified extract", "lines home_log --with contact --with note"}
    assert set(accounts) == {getpass.getuser()}


def test_the_page_beside_the_files_names_each_with_its_hash(run, tmp_path):
    run("export", "lines", "care", "--write", "out")
    page = (tmp_path / "out/ABOUT.md").read_text(encoding="utf-8")
    assert "| records/lines.csv |" in page
    assert "as known at 2031-03-10T23:59:59.999999Z" in page
    assert "does not diagnose" in page
