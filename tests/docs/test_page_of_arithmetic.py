"""The page of arithmetic in the contributors' guide is what the commands print."""

import re
import shlex
import sys
from pathlib import Path

import pytest

from analysis.cli.app import main

GUIDE = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
PAGE = GUIDE.split("## A page of arithmetic")[1].split("\n## ")[0]
FILES = re.findall(r"`(\w+\.csv)`\n\n```csv\n(.*?)```", PAGE, re.DOTALL)
ROWS = re.findall(r"^\| `(.*?)` \| `(.*?)` \|$", PAGE, re.MULTILINE)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    for name, text in FILES:
        (folder / name).write_text(text, encoding="utf-8")
    command("ingest", folder, "--store", url(folder), "--received-at", "2031-04-01T05:00")
    return url(folder)


def url(folder):
    return f"sqlite:///{folder / 'page.sqlite'}"


def command(*words):
    before, sys.argv = sys.argv, ["linedays", *map(str, words)]
    try:
        with pytest.raises(SystemExit) as stop:
            main()
    finally:
        sys.argv = before
    assert not stop.value.code


def test_the_page_has_files_and_rows():
    assert [name for name, _ in FILES] == ["lines.csv", "home_log.csv"]
    assert len(ROWS) >= 12


@pytest.mark.parametrize(("words", "row"), ROWS)
def test_a_command_prints_the_row(store, capsys, words, row):
    command(*shlex.split(words), "--store", store, "--as-of", "2031-04-01")
    lines = capsys.readouterr().out.splitlines()
    plainly = [line.replace('"', "") for line in lines]
    wanted = row.replace('"', "")
    assert any(line == wanted or line.startswith(wanted + ",") for line in plainly), lines
