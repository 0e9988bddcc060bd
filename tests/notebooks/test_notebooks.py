"""Every notebook runs from top to bottom and its own checks hold."""

from pathlib import Path

import jupytext
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parents[2] / "notebooks"


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # of the kernel's own libraries
@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.py")), ids=lambda p: p.stem)
def test_a_notebook_runs(path):
    notebook = jupytext.read(path)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": FOLDER.parent}}).execute()
    streams = [o for c in notebook.cells for o in c.get("outputs", []) if o.get("name") == "stderr"]
    assert streams == []
