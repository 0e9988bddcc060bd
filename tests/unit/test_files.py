"""Files are written whole or not at all, and a store is never replaced."""

import os
import sqlite3
import stat
import subprocess
import sys

import pytest

from analysis.files import FileError, check_writable, write_whole, writing_whole


@pytest.fixture
def store(tmp_path):
    """A database in WAL mode, held open so that its companions are there."""
    path = tmp_path / "store.sqlite"
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("CREATE TABLE kept (cell TEXT)")
    connection.commit()
    yield path
    assert connection.execute("SELECT count(*) FROM kept").fetchone() == (0,)
    connection.close()


def names(folder):
    return sorted(p.name for p in folder.iterdir())


def test_a_new_file_holds_what_was_written_and_no_other_file_remains(tmp_path):
    write_whole(tmp_path / "table.csv", "a,b\r\nä,1\n")
    assert (tmp_path / "table.csv").read_bytes() == "a,b\r\nä,1\n".encode()
    assert names(tmp_path) == ["table.csv"]


def test_an_existing_file_is_replaced_only_when_asked(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("by hand")
    path.chmod(0o640)
    with pytest.raises(FileError, match=r"exists already.*--force"):
        write_whole(path, "new")
    assert path.read_text() == "by hand"
    write_whole(path, "new", replace=True)
    assert path.read_text() == "new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


@pytest.mark.parametrize("ending", ["", "-wal", "-shm", "-journal"])
def test_a_database_and_its_companions_are_never_replaced(store, ending):
    path = store.with_name(store.name + ending)
    before = path.read_bytes() if path.exists() else None
    with pytest.raises(FileError, match="never replaced"):
        write_whole(path, "a table", replace=True)
    assert (path.read_bytes() if path.exists() else None) == before


def test_a_database_is_recognised_behind_a_link(store, tmp_path):
    (tmp_path / "soft.csv").symlink_to(store)
    (tmp_path / "log.csv").symlink_to(store.with_name("store.sqlite-shm"))
    os.link(store, tmp_path / "hard.csv")
    os.link(store.with_name("store.sqlite-wal"), tmp_path / "hard-log.csv")
    for name in ("soft.csv", "log.csv", "hard.csv", "hard-log.csv"):
        with pytest.raises(FileError, match="never replaced"):
            check_writable(tmp_path / name, replace=True)


def test_a_named_store_is_never_replaced_even_if_it_does_not_look_like_one(tmp_path):
    empty = tmp_path / "empty.sqlite"
    empty.touch()
    (tmp_path / "link").symlink_to(empty)
    with pytest.raises(FileError, match="never replaced"):
        check_writable(tmp_path / "link", replace=True, stores=[empty, tmp_path / "none"])


def test_a_link_to_another_file_stays_a_link(tmp_path):
    (tmp_path / "real.csv").write_text("old")
    (tmp_path / "link.csv").symlink_to(tmp_path / "real.csv")
    write_whole(tmp_path / "link.csv", "new", replace=True)
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "real.csv").read_text() == "new"


def test_a_fault_leaves_the_earlier_file_and_nothing_unfinished(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("old")
    half = pytest.raises(RuntimeError)
    with half, writing_whole(path, replace=True) as file:
        file.write(b"half of")
        raise RuntimeError
    assert path.read_text() == "old"
    assert names(tmp_path) == ["table.csv"]


def test_a_full_disk_is_one_sentence_and_leaves_nothing(tmp_path, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("analysis.files.os.fsync", full)
    with pytest.raises(FileError, match=r"No space left on device\).*disk isn't full"):
        write_whole(tmp_path / "table.csv", "new")
    assert names(tmp_path) == []


def test_a_missing_folder_and_a_folder_get_a_sentence(tmp_path):
    with pytest.raises(FileError, match="No such file or directory"):
        write_whole(tmp_path / "none" / "table.csv", "new")
    with pytest.raises(FileError, match="is a folder"):
        write_whole(tmp_path, "new", replace=True)


def test_a_device_is_written_to_and_not_replaced(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    write_whole(pipe, "rows")
    assert os.read(reader, 10) == b"rows"
    os.close(reader)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_a_file_is_readable_by_its_owner_alone(tmp_path):
    write_whole(tmp_path / "key", "secret")
    assert stat.S_IMODE((tmp_path / "key").stat().st_mode) == 0o600


def test_what_a_killed_program_left_half_written_is_removed_by_the_next_one(tmp_path):
    writing = """
import os, signal, sys
from pathlib import Path
from analysis.files import writing_whole
from analysis.unfinished import temporary_folder
with writing_whole(Path("backup.zip")) as file, temporary_folder() as folder:
    (folder / "rows").write_text("of families")
    file.write(b"of families")
    os.kill(os.getpid(), signal.SIGKILL)
"""
    places = {**os.environ, "TMPDIR": str(tmp_path)}
    subprocess.run([sys.executable, "-c", writing], cwd=tmp_path, env=places, check=False)
    assert len(names(tmp_path)) == 2
    with writing_whole(tmp_path / "other") as file:
        mine = set(names(tmp_path))
        file.write(b"x")
        with writing_whole(tmp_path / "third"):  # what is under way stays
            assert mine < set(names(tmp_path))
    assert names(tmp_path) == ["other", "third"]
