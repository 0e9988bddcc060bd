"""Calls made without the screen are recorded by one command: all of a file, or none of them."""

from __future__ import annotations

import sys

import pytest

from analysis.cli.app import main
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from tests.unit.test_recorded_calls import LINES

HEAD = "family_id,called_at,called_by,outcome,agreed\n"
GOOD = "F1,2031-03-03T10:00:00Z,N2,reached,will change it\n"


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run ``linedays calls record`` on a store of two families; returns exit code and errors."""
    url = f"sqlite:///{tmp_path / 'calls.sqlite'}"
    (tmp_path / "lines.csv").write_text(LINES)
    with Store.open(url) as store:
        assert ingest(store, [tmp_path / "lines.csv"], shipped_policy()).refused == 0

    def command(*words):
        argv = ["linedays", "calls", "record", *map(str, words), "--store", url]
        monkeypatch.setattr(sys, "argv", argv)
        with pytest.raises(SystemExit) as stop:
            main()
        return stop.value.code or 0, capsys.readouterr().err

    def calls():
        with Store.open(url, create=False) as store:
            return store.records().calls

    command.calls = calls
    return command


def test_calls_of_a_file_are_recorded_all_or_none(run, tmp_path):
    file = tmp_path / "calls-of-the-day.csv"
    file.write_text(HEAD + GOOD + "F2,2031-03-03T10:05:00Z,N2,perhaps,\n")
    code, said = run(file)
    assert code == 1
    assert "No call was recorded. calls-of-the-day.csv: Row 3" in said
    assert "perhaps" in said
    assert len(run.calls()) == 0
    file.write_text(HEAD + GOOD + "F2,2031-03-03T10:05:00Z,N2,no_answer,\n")
    assert run(file) == (0, "linedays: 2 calls recorded.\n")
    assert sorted(run.calls()["family_id"]) == ["F1", "F2"]


def test_one_call_is_recorded_by_its_options(run):
    one = ("--family", "F2", "--by", "N2", "--outcome", "reached", "--agreed", "will change it")
    code, said = run(*one, "--at", "2025-03-03T10:00")
    assert (code, said) == (0, "linedays: Call to F2 recorded.\n")
    call = run.calls().iloc[0]
    assert (call["called_by"], call["agreed"]) == ("N2", "will change it")
    assert f"{call['called_on']:%Y-%m-%d}" == "2025-03-03"
    code, said = run(*one, "--at", "2025-03-03T10:00")
    assert code == 3
    assert "is recorded already" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "--family, --by and --outcome are needed"),
        (("--family", "F9", "--by", "N2", "--outcome", "reached"), "F9"),
        (
            ("--family", "F1", "--by", "N2", "--outcome", "reached", "--at", "2199-01-01"),
            "can't be in the future",
        ),
    ],
)
def test_what_is_missing_or_unknown_is_one_sentence(run, words, said):
    code, shown = run(*words)
    assert code == 2
    assert said in shown
    assert len(run.calls()) == 0
