"""Notebooks are run once, one after the other in one kernel, on one invented programme."""

import asyncio
import warnings
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import jupytext
import nbformat
import pytest
from nbclient import NotebookClient

from analysis.cli.inventing import invented_store
from synthetic_data import generate

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "notebooks"
NOTEBOOKS = {path.stem: path for path in sorted(FOLDER.glob("[!_]*.py"))}
AS_OF = date(2031, 3, 10)
FAMILIES, SEED = 240, 1
DRAWN = {"PROGRAMMES": 300, "FITTED": 150, "CHARTS": 200}
"""Simulated, fewer than a reader draws: the limits of each answer are wider by as much."""
AFRESH = "%reset -f\nimport sys\nsys.modules.pop('_start', None)"
"""Forgets the notebook before; libraries stay imported, which takes longer than most notebooks."""


def parameters(notebook) -> int | None:
    """Place of the cell whose values may be set from outside."""
    tagged = [
        at
        for at, cell in enumerate(notebook.cells)
        if "parameters" in cell.metadata.get("tags", [])
    ]
    return tagged[0] if tagged else None


def with_values(path: Path, **values: object):
    """The notebook with a cell after its parameters that sets those of them that it has."""
    notebook = jupytext.read(path)
    at = parameters(notebook)
    if at is not None:
        own = {line.split(" = ")[0] for line in notebook.cells[at].source.splitlines()}
        shown = {name: repr(value) for name, value in values.items() if name in own}
        shown = {name: text.replace("datetime.date(", "date(") for name, text in shown.items()}
        lines = ["from datetime import date", *(f"{name} = {text}" for name, text in shown.items())]
        notebook.cells.insert(at + 1, nbformat.v4.new_code_cell("\n".join(lines)))
    return notebook


@pytest.fixture(scope="session")
def invented(tmp_path_factory):
    """A store of an invented programme, and what was planted in it."""
    folder = tmp_path_factory.mktemp("programme")
    demo = generate(FAMILIES, seed=SEED, until=AS_OF)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("synthetic_data.generate", lambda *_, **__: demo)
        made = invented_store(folder, families=FAMILIES, seed=SEED, as_of=AS_OF)
    return SimpleNamespace(url=made.url, refused=made.refused, truth=demo.truth)


async def _run(notebooks: dict[str, object]) -> dict[str, Exception | None]:
    """Run them, each without the names of those before: what went wrong, None for nothing."""
    kernel = NotebookClient(nbformat.v4.new_notebook()).create_kernel_manager()
    place = {"metadata": {"path": str(FOLDER)}}
    faults: dict[str, Exception | None] = {}
    try:
        for name, notebook in notebooks.items():
            notebook.cells.insert(0, nbformat.v4.new_code_cell(AFRESH))
            client = NotebookClient(notebook, kernel, timeout=300, resources=place)
            faults[name] = None
            try:
                await client.async_execute()
            except Exception as fault:  # each is raised where its notebook is asked for
                faults[name] = fault
            finally:
                client.kc.stop_channels()
            del notebook.cells[0]
    finally:
        await kernel.shutdown_kernel(now=True)
    return faults


@pytest.fixture(scope="session")
def ran(invented):
    """Notebooks with their outputs, by name; asking for one that failed raises its fault."""
    values = {"STORE": invented.url, "AS_OF": AS_OF, **DRAWN}
    notebooks = {name: with_values(path, **values) for name, path in NOTEBOOKS.items()}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the kernel's own libraries
        # In a thread of its own: the one of the tests may have an event loop already.
        with ThreadPoolExecutor(1) as pool:
            faults = pool.submit(asyncio.run, _run(notebooks)).result()

    def of(name: str):
        fault = faults[name]
        if isinstance(fault, BaseException):
            raise fault
        return notebooks[name]

    return of


def printed_by(cell) -> str:
    return "".join(o["text"] for o in cell.get("outputs", []) if o.get("name") == "stdout")


@pytest.fixture
def answer(ran):
    """What the last cell of a notebook says."""
    return lambda name: printed_by(ran(name).cells[-1])
