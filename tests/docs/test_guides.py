"""README and DEVELOPERS.md say what the program does, and nothing in the tree says where it was made."""

import re
import subprocess
from pathlib import Path

import pytest

from analysis.cli.commands import COMMANDS
from analysis.tables.describe import in_guide
from analysis.words import CAUTIONS

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_data_dictionary_of_the_guide_is_that_of_the_catalogue():
    assert in_guide(GUIDE) == GUIDE, "run: python -m analysis.tables.describe"


def test_the_readme_names_every_command():
    # `rates trend` may be named on the row of `linedays rates`.
    assert len(COMMANDS) > 20
    assert [n for n in COMMANDS if f"`{n}" not in README and f"linedays {n}" not in README] == []


def test_the_readme_carries_the_cautions():
    text = " ".join(README.replace("\n> ", " ").split())
    for caution in CAUTIONS[:3]:
        assert caution.rstrip(".") in text
    assert "not a submission to any registry" in text
    assert len(CAUTIONS) == 4


def test_every_dependency_has_its_line_in_the_guide():
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    block = text.split("dependencies = [")[1].split("]")[0]
    names = re.findall(r'"([a-z-]+)', block)
    listed = GUIDE.split("## Dependencies")[1].split("## Decisions")[0].lower()
    assert [n for n in names if n not in listed and "adbc" not in n] == []


@pytest.mark.parametrize("command", ["demo", "bash tests/run"])
def test_the_readme_gives_the_two_commands(command):
    assert command in README


def committed_files() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True
    ).stdout
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).exists()]


def test_no_committed_file_names_a_registry_or_a_content_server():
    hosts = re.compile(
        rb"https?://(?!127\.0\.0\.1|localhost|www\.w3\.org|example\.org|schemas\.openxmlformats\.org|snomed\.info)[a-z0-9.-]+"
    )
    named = {}
    for path in committed_files():
        if path.name.endswith(".min.js"):
            continue  # a library's own file; no page may load from elsewhere, whatever it names
        if path.suffix in {".py", ".toml", ".md", ".lock", ".css", ".js", ""}:
            found = hosts.findall(path.read_bytes())
            if found:
                named[path.name] = found
    assert named == {}


def test_the_top_level_is_the_agreed_one():
    allowed = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "dashboard", "analysis", "notebooks",
        "tests", "synthetic_data",
    }  # fmt: skip
    top = {path.relative_to(ROOT).parts[0] for path in committed_files()}
    assert {name for name in top if not name.startswith(".")} <= allowed
