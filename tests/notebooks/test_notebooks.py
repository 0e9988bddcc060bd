"""Every notebook opens, runs from top to bottom, asks first, answers last and works nothing out."""

import ast
import contextlib
import io
from datetime import UTC, datetime, timedelta

import jupytext
import nbformat
import pandas as pd
import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import end_of_day
from analysis.store import Store
from tests.notebooks.conftest import AS_OF, FOLDER, NOTEBOOKS, parameters, printed_by, with_values

ALL = pytest.mark.parametrize("name", NOTEBOOKS)
WORKS_OUT = {
    *("mean", "median", "std", "var", "sem", "quantile", "percentile", "average", "corr", "cov"),
    *("agg", "aggregate", "apply", "transform", "rolling", "expanding", "resample", "pivot_table"),
    *("cumsum", "cumprod", "prod", "pct_change", "ewm", "crosstab", "sqrt", "log", "exp"),
}


@ALL
def test_a_notebook_is_valid_and_starts_with_its_question_and_ends_with_its_answer(name):
    notebook = jupytext.read(NOTEBOOKS[name])
    nbformat.validate(notebook)
    first, (head, last) = notebook.cells[0], notebook.cells[-2:]
    assert first.cell_type == head.cell_type == "markdown"
    assert first.source.startswith("# ")
    question = first.source.split("**Question:**")[1].split("\n\n")[0]
    assert question.strip().endswith("?")
    assert head.source.startswith("## Answer")
    assert last.cell_type == "code"
    assert "print(" in last.source
    assert parameters(notebook) is not None


@ALL
def test_a_notebook_leaves_arithmetic_to_analysis(name):
    tree = ast.parse(NOTEBOOKS[name].read_text(encoding="utf-8"))
    called = {
        node.func.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    }
    assert called & WORKS_OUT == set()
    for node in ast.walk(tree):
        if not isinstance(node, ast.BinOp):
            continue
        # A path is joined by a slash, too.
        joins = isinstance(node.right, ast.Constant) and isinstance(node.right.value, str)
        divides = isinstance(node.op, ast.Div) and not joins
        assert not divides, ast.unparse(node)
        assert not isinstance(node.op, ast.Pow | ast.MatMult), ast.unparse(node)


@ALL
def test_a_notebook_runs_and_gives_its_answer(name, ran):
    notebook = ran(name)
    outputs = [o for cell in notebook.cells for o in cell.get("outputs", [])]
    assert [o for o in outputs if o.get("name") == "stderr"] == []
    assert len(printed_by(notebook.cells[-1])) > 100


@ALL
def test_a_notebook_shows_the_cautions(name, ran):
    shown = "".join(
        cell.source if cell.cell_type == "markdown" else printed_by(cell)
        for cell in ran(name).cells
    )
    assert "does not diagnose" in shown.replace("\n", " ")


ONE_FAMILY = """\
line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,dressing_on
L1,C1,F1,North,picc,2031-01-01,2031-01-01,transparent,2031-01-01
"""
ONE_LOG = """\
entry_id,line_id,done_at,kind,findings
e1,L1,2031-01-08,dressing_change,none
e2,L1,2031-02-01,dressing_change,redness
"""


@pytest.fixture(name="small", params=["no rows", "one family"], scope="module")
def _small(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    url = f"sqlite:///{folder / 'store.sqlite'}"
    with Store.open(url) as store:
        if request.param == "one family":
            (folder / "lines.csv").write_text(ONE_FAMILY, encoding="utf-8")
            (folder / "home_log.csv").write_text(ONE_LOG, encoding="utf-8")
            files = [folder / "lines.csv", folder / "home_log.csv"]
            received = datetime(2031, 3, 2, tzinfo=UTC)
            ingest(store, files, shipped_policy(), received_at=received)
    return url


READS_A_STORE = [n for n, p in NOTEBOOKS.items() if "\nSTORE = " in p.read_text(encoding="utf-8")]


def last_words(name, monkeypatch, **values) -> str:
    """What the last cell prints when the notebook is run here, without a kernel."""
    monkeypatch.setattr("IPython.display.display", lambda *_: None)
    monkeypatch.syspath_prepend(FOLDER)
    known: dict[str, object] = {}
    for cell in with_values(NOTEBOOKS[name], **values).cells:
        said = io.StringIO()
        if cell.cell_type == "code":
            with contextlib.redirect_stdout(said):
                exec(compile(cell.source, name, "exec"), known)  # what is run is our own notebook
    return said.getvalue()


@pytest.mark.parametrize("name", READS_A_STORE)
def test_a_notebook_has_words_for_hardly_any_rows(name, small, monkeypatch):
    told = last_words(name, monkeypatch, STORE=small)
    assert len(told) > 40
    assert "nan" not in told.lower().split()


def test_a_notebook_for_one_site_tells_of_no_entry_of_another(invented, monkeypatch):
    told = last_words(
        "late_reports_and_data_quality",
        monkeypatch,
        STORE=invented.url,
        AS_OF=AS_OF,
        SITES=["Willow"],
    )
    with Store.open(invented.url, create=False) as store:
        records = store.records(end_of_day(AS_OF, shipped_policy()))
    lines = records.lines
    here = set(lines.loc[lines["site"] == "Willow", "family_id"])
    log = records.home_log[records.home_log["family_id"].isin(here)]
    entries = (log["done_on"] <= pd.Timestamp(AS_OF - timedelta(days=28))).sum()
    assert f"Of {entries} entries" in told.replace("\N{NARROW NO-BREAK SPACE}", "")
    assert "Pebble" not in told
