"""What notebooks import is there, and they draw every figure of the dashboard."""

import ast
import importlib
from pathlib import Path

import pytest

from dashboard import figures

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.py"))
OURS = ("analysis", "dashboard", "synthetic_data", "tests")
INSIDE = {"Group", "Mark", "Span", "family_strip"}
"""Drawn by `dashboard.family.history_chart`."""


def names_of(path: Path) -> set[tuple[str, str]]:
    """Module and name of everything that a notebook imports from the project."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {
        (node.module, one.name)
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module.split(".")[0] in OURS
        for one in node.names
    }


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_every_name_that_a_notebook_imports_is_there(path):
    gone = [(m, n) for m, n in names_of(path) if not hasattr(importlib.import_module(m), n)]
    assert gone == [], "moved or renamed: the notebook has to follow"


def test_every_figure_of_the_dashboard_is_drawn_in_a_notebook():
    used = set().union(*map(names_of, NOTEBOOKS))
    drawn = {name for module, name in used if module == "dashboard.figures"}
    if ("dashboard.family.history_chart", "history_figure") in used:
        drawn |= INSIDE
    assert set(figures.__all__) - drawn == set(), "draw it in the notebook it belongs to"
