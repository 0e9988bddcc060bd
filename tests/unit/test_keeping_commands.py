"""The commands that back a store up and restore it: what they say and how they end."""

import getpass
import sys
from datetime import UTC, date, datetime, timedelta

import pytest

from analysis.cli.app import main
from analysis.store import Store, backup, chain
from analysis.vocabulary import Access, CallOutcome


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run a command over a store with one recorded call; returns exit code, output, errors."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LINEDAYS_STORE", raising=False)
    at = datetime(2031, 3, 4, 9, tzinfo=UTC)
    with Store.open("sqlite:///linedays.sqlite") as store:
        store.record_call("F1", "N1", CallOutcome.REACHED, "hush", date(2031, 3, 6), at)

    def command(*words):
        monkeypatch.setattr(sys, "argv", ["linedays", *words])
        with pytest.raises(SystemExit) as stop:
            main()
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return stop.value.code or 0, told.out, told.err

    return command


def test_a_store_goes_into_a_file_and_out_again(run, tmp_path):
    code, out, err = run("backup", "all.zip")
    assert (code, out) == (0, "")
    assert "all of the store linedays.sqlite is in all.zip" in err
    assert "protect it like the store" in err
    code, out, err = run("restore", "all.zip", "--store", "sqlite:///again.sqlite")
    assert (code, out) == (0, "")
    assert "again.sqlite holds what all.zip held" in err
    with Store.open("sqlite:///again.sqlite", create=False) as again:
        assert again.records().calls["agreed"].tolist() == ["hush"]


def test_what_cannot_be_done_ends_with_one_sentence_and_3(run, tmp_path):
    run("backup", "all.zip")
    (tmp_path / "half.zip").write_bytes((tmp_path / "all.zip").read_bytes()[:500])
    for words, said in (
        (("backup", "all.zip"), "is there already"),
        (("backup", "no/folder.zip"), "can't be written"),
        (("backup", "other.zip", "--store", "sqlite:///none.sqlite"), "There is no store"),
        (("restore", "all.zip"), "holds tables already"),
        (("restore", "half.zip", "--store", "sqlite:///new.sqlite"), "is no backup of linedays"),
        (("restore", "none.zip", "--store", "sqlite:///new.sqlite"), "No such file"),
    ):
        code, out, err = run(*words)
        assert (code, out, err.count("\n")) == (3, "", 1), words
        assert said in err
    assert not (tmp_path / "new.sqlite").exists()


def test_a_file_has_to_be_named(run):
    assert run("backup")[0] == 2
    assert run("restore")[0] == 2


def test_who_takes_data_out_by_command_is_in_the_access_log(run, tmp_path):
    at = datetime(2031, 3, 4, 9, tzinfo=UTC)
    with Store.open("sqlite:///linedays.sqlite") as store:
        store.people.note("N1", Access.OPENED_FAMILY, at, family_id="F1")
        store.people.note("N2", Access.OPENED_FAMILY, at + timedelta(days=2), family_id="F2")
    for words in (
        ("backup", "all.zip"),
        ("calls", "--as-of", "2031-03-05", "--out", "calls.csv"),
        ("refused", "--write", "fix"),
        ("calls", "--as-of", "2031-03-05"),
        ("verify", "--out", "verified.csv"),
    ):
        assert run(*words)[0] == 0, words
    done = run("user", "record", "--who", "command line", "--format", "csv")[1].splitlines()
    account = f"account {getpass.getuser()}"
    assert [line.rpartition(",")[2] for line in done[1:]] == [
        f"refused --write; {account}",
        f"calls --out; {account}",
        f"backup; {account}",
    ]

    def kept(*words):
        return [line[:10] for line in run("user", "record", *words)[1].splitlines()[1:]]

    assert kept("--family", "F1") == ["2031-03-04"]
    assert kept("--who", "N1", "--to", "2031-03-04") == ["2031-03-04"]
    assert kept("--who", "N1", "--to", "2031-03-03") == []
    assert kept("--from", "2031-03-05", "--to", "2031-03-06") == ["2031-03-06"]


def test_a_changed_row_is_found_and_named(run):
    code, out, err = run("verify", "--format", "csv")
    assert (code, err) == (0, "linedays: all rows of linedays.sqlite are as they were stored.\n")
    assert out.splitlines()[0] == "table,rows,deleted,links,last_hash,difference"
    with (
        Store.open("sqlite:///linedays.sqlite") as store,
        store._database.changing_tables() as connection,
    ):
        connection.exec_driver_sql("DROP TRIGGER calls_no_update").close()
        connection.exec_driver_sql("UPDATE calls SET agreed = 'other'").close()
    code, out, err = run("verify", "--format", "csv")
    assert code == 3
    assert "row 1 of calls differs from its block in agreed" in err


def test_a_backup_is_restored_to_try_it_and_the_newest_are_kept(run, tmp_path):
    words = ("backup", "kept", "--keep", "2", "--try-restore")
    for number in range(3):
        code, out, err = run(*words)
        assert (code, out) == (0, "")
        assert "restored to try it: 1 row of calls" in err
        assert len(list((tmp_path / "kept").glob("linedays-*.zip"))) == min(number + 1, 2)
    made = sorted((tmp_path / "kept").glob("linedays-*.zip"))
    report = (tmp_path / "kept/last-backup.txt").read_text()
    assert report.startswith("done ")
    assert made[-1].name in report
    assert (tmp_path / "kept").stat().st_mode & 0o777 == 0o700
    run("restore", str(made[-1]), "--store", "sqlite:///again.sqlite")
    with Store.open("sqlite:///again.sqlite", create=False) as again:
        assert again.records().calls["agreed"].tolist() == ["hush"]


def test_a_backup_that_does_not_restore_takes_the_place_of_none(run, tmp_path, monkeypatch):
    run("backup", "kept", "--keep", "1", "--try-restore")
    (first,) = (tmp_path / "kept").glob("linedays-*.zip")
    written = backup.write

    def damaged(database, path):
        written(database, path)
        data = bytearray(path.read_bytes())
        data[len(data) // 2] ^= 1
        path.write_bytes(data)

    monkeypatch.setattr(backup, "write", damaged)
    code, _, err = run("backup", "kept", "--keep", "1", "--try-restore")
    assert (code, "damaged" in err) == (3, True)
    assert first.exists()
    report = (tmp_path / "kept/last-backup.txt").read_text()
    assert report.startswith("FAILED ")
    assert "damaged" in report


def test_only_a_folder_keeps_several_backups(run, tmp_path):
    (tmp_path / "all.zip").write_bytes(b"x")
    code, _, err = run("backup", "all.zip", "--keep", "2")
    assert (code, "is a file" in err) == (3, True)


def test_settings_name_the_store_of_a_backup(run, tmp_path):
    (tmp_path / "linedays.sqlite").rename(tmp_path / "elsewhere.sqlite")
    (tmp_path / "s.toml").write_text('store = "sqlite:///elsewhere.sqlite"\n')
    code, _, err = run("backup", "all.zip", "--settings", "s.toml")
    assert (code, "all of the store elsewhere.sqlite" in err) == (0, True)


def test_an_earlier_output_shows_that_nothing_before_it_changed(run):
    code, _, err = run("verify", "--format", "csv", "--out", "noted.csv")
    assert (code, err.count("as they were stored")) == (0, 1)
    with Store.open("sqlite:///linedays.sqlite") as store:
        at = datetime(2031, 3, 9, tzinfo=UTC)
        store.people.note("N1", Access.OPENED_FAMILY, at, family_id="F1")
    code, _, err = run("verify", "--noted", "noted.csv")
    assert (code, err.splitlines()[-1]) == (
        0,
        "linedays: nothing stored before noted.csv has changed.",
    )
    with (
        Store.open("sqlite:///linedays.sqlite") as store,
        store._database.changing_tables() as connection,
    ):  # who may change everything writes all links again, so that the store alone shows nothing
        triggers = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        for name in connection.exec_driver_sql(triggers).scalars().all():
            connection.exec_driver_sql(f"DROP TRIGGER {name}").close()
        connection.exec_driver_sql("UPDATE calls SET note = 'other'").close()
        connection.exec_driver_sql("DELETE FROM chain WHERE table_name = 'calls'").close()
        connection.exec_driver_sql("DELETE FROM blocks WHERE table_name = 'calls'").close()
        chain.link_again(connection, "calls")
    code, _, err = run("verify", "--format", "csv")
    assert code == 0, err
    code, _, err = run("verify", "--noted", "noted.csv")
    assert code == 3
    assert "calls was written again: the hash of the note" in err
    code, _, err = run("verify", "--noted", "nothing.csv")
    assert code == 2
    assert "can't be read, or holds no hash" in err
