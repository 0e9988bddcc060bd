"""Ctrl+C ends a command with one sentence, and nothing half done is left."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from threading import Timer, main_thread

import pytest

from analysis.store import Store

SENTENCE = "linedays: Stopped from the keyboard. What was unfinished is not saved.\n"
PATIENCE_SECONDS = 60
START = "from analysis.cli import main; main()"


def started(folder: Path, code: str, *words: str) -> subprocess.Popen[str]:
    """A command whose temporary files are in `folder`."""
    return subprocess.Popen(
        [sys.executable, "-c", code, *words],
        cwd=folder,
        env={**os.environ, "TMPDIR": str(folder)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_an_ingest_that_is_stopped_leaves_no_file(tmp_path: Path) -> None:
    running = started(tmp_path, START, "ingest", "-", "--table", "home_log")
    deadline = time.monotonic() + PATIENCE_SECONDS
    while not list(tmp_path.glob("linedays-*/*")):  # it waits for its input
        assert time.monotonic() < deadline
        assert running.poll() is None, running.stderr.read()
        time.sleep(0.02)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=PATIENCE_SECONDS)
    assert (running.returncode, out) == (130, "")
    assert err.strip() == SENTENCE.strip()
    assert [path.name for path in tmp_path.iterdir()] == ["linedays.sqlite"]


LOST = """
import signal, time
class Font:
    def __del__(self):
        signal.raise_signal(signal.SIGINT)
from analysis.cli import app
def main():
    Font()
    time.sleep(60)
app.main = main
"""
WHILE_IMPORTED = """
import sys
class Finder:
    def find_spec(self, name, *_):
        if name == "typer":
            raise KeyboardInterrupt
sys.meta_path.insert(0, Finder())
"""


@pytest.mark.parametrize("setting", [WHILE_IMPORTED, LOST], ids=["import", "lost by Python"])
def test_ctrl_c_ends_a_command_with_a_sentence_wherever_it_comes(
    tmp_path: Path, setting: str
) -> None:
    running = started(tmp_path, f"{setting}\n{START}")
    _, err = running.communicate(timeout=PATIENCE_SECONDS)
    assert (running.returncode, err) == (130, SENTENCE)


A_SECOND_OF_WORK = """
WITH RECURSIVE counted(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM counted WHERE n < 3000000)
SELECT max(n) FROM counted
"""


@pytest.fixture
def _ctrl_c_is_heard():
    """Where the tests run in the background, the shell has it ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("_ctrl_c_is_heard")
def test_ctrl_c_while_the_store_works_is_no_error_of_the_database(tmp_path: Path) -> None:
    with Store.open(f"sqlite:///{tmp_path}/a.sqlite") as store, store._database.reading() as open_:
        # To this thread, as from a keyboard: sent to the timer's own, it would not end the sleep.
        to_this_thread = [main_thread().ident, signal.SIGINT]
        Timer(0.2, signal.pthread_kill, to_this_thread).start()
        with pytest.raises(KeyboardInterrupt):  # noqa: PT012 - it comes during the work or after
            open_.exec_driver_sql(A_SECOND_OF_WORK).scalar()
            time.sleep(PATIENCE_SECONDS)


def test_a_restore_that_is_stopped_leaves_no_file(tmp_path: Path, monkeypatch) -> None:
    with Store.open(f"sqlite:///{tmp_path}/a.sqlite") as store:
        store.backup(tmp_path / "a.zip")

    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("analysis.store.restore._check_content", stopped)
    with pytest.raises(KeyboardInterrupt):
        Store.restored(f"sqlite:///{tmp_path}/b.sqlite", tmp_path / "a.zip")
    assert not list(tmp_path.glob("b.sqlite*"))
