"""On a terminal tables fit, and long work shows how far it is and stops without a word too many."""

from __future__ import annotations

import io
import sys
from contextlib import suppress
from datetime import date
from threading import Event

import pandas as pd
import pytest
from rich.progress import Progress

from analysis.cli import progress, replaying
from analysis.cli.afterwards import answering
from analysis.cli.options.shared import Output
from analysis.cli.output import write
from analysis.cli.progress import counting, waiting
from analysis.cli.terminal import as_table

FRAME = pd.DataFrame(
    {"family_id": ["F1", "F2"], "days_overdue": [3, 0], "sentence": ["word " * 12, ""]}
)


def test_a_table_that_fits_is_a_table_and_one_that_does_not_is_row_by_row() -> None:
    assert as_table(FRAME, 200) == as_table(FRAME)
    narrow = as_table(FRAME, 40).splitlines()
    assert max(map(len, narrow)) <= 40
    assert narrow[0].startswith("1 of 2")
    assert narrow[1] == "family id     F1"
    assert "\n".join(narrow).count("word") == 12
    assert "sentence" not in "\n".join(narrow[-3:])


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_long_work_without_parts_shows_what_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "AFTER_SECONDS", 0.0)
    begun = Event()
    monkeypatch.setattr(Progress, "start", lambda _: begun.set())
    for kind in (Terminal, io.StringIO):
        monkeypatch.setattr(sys, "stderr", kind())
        begun.clear()
        with waiting("restoring the backup"):
            assert begun.wait(20) if kind is Terminal else not begun.is_set()


def test_a_command_that_calculates_shows_it_until_its_answer_or_other_progress(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(progress, "AFTER_SECONDS", 0.0)
    monkeypatch.setattr(sys, "stderr", Terminal())
    begun, ended = Event(), []
    monkeypatch.setattr(Progress, "start", lambda _: begun.set())
    monkeypatch.setattr(Progress, "stop", lambda _: ended.append(capsys.readouterr().out))
    progress.begin_calculating()
    assert begun.wait(20)
    assert ended == []
    write("an answer\n", Output())
    assert ended == [""]
    assert capsys.readouterr().out == "an answer\n"
    progress.begin_calculating()
    with waiting("saving"):
        assert len(ended) == 2
    with suppress(KeyError), answering():
        progress.begin_calculating()
        raise KeyError
    assert len(ended) == 4


def test_progress_is_shown_on_a_terminal_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = {}
    for kind in (Terminal, io.StringIO):
        monkeypatch.setattr(sys, "stderr", kind())
        with counting("replaying mornings", 2) as done:
            done()
            done()
        seen[kind] = sys.stderr.getvalue()
    assert "2/2" in seen[Terminal]
    assert seen[io.StringIO] == ""


def test_mornings_of_several_processes_come_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    days = [date(2031, 3, day) for day in range(1, 4)]
    monkeypatch.setattr(replaying, "read_history", lambda _: "history")
    monkeypatch.setattr(replaying, "_replayed", lambda _history, _policy, day: day)
    assert list(replaying._each("sqlite:///none", None, days)) == days
