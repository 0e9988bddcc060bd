"""Commands as a person without a terminal runs them, each in an empty folder."""

from __future__ import annotations

import io
import sys

import pytest

from analysis.cli import main


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run a command; returns exit code, output and errors."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LINEDAYS_STORE", raising=False)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))

    def command(*words):
        monkeypatch.setattr(sys, "argv", ["linedays", *map(str, words)])
        with pytest.raises(SystemExit) as stop:
            main()
        printed = capsys.readouterr()
        assert "Traceback" not in printed.err
        return stop.value.code or 0, printed.out, printed.err

    return command
