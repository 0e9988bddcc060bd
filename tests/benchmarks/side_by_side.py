"""The same four questions to linedays, pandas, polars and DuckDB, from the same files.

Scored intervals between dressing changes and home line-days by class of every line, skin events
per 1000 home line-days by month, and the Kaplan-Meier curve of lines in place. `other_tools` holds
what a user would otherwise write; every tool has to give the same numbers, or the run stops. Each
answer comes from a process of its own, the tools taken in turns. Run from the project's folder:

    python -m tests.benchmarks.side_by_side [--families N …] [--folder FOLDER --as-of DATE]

Needs the extra `benchmarks`; a tool that is not installed is left out, which is printed.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import importlib.util
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analysis.policy import shipped_policy
from analysis.vocabulary import FindingMark
from synthetic_data import generate_blocks, write_canonical
from tests.benchmarks.other_tools import with_linedays

AS_OF = date(2031, 3, 10)
TOOLS = ("linedays", "pandas", "polars", "duckdb")
RUNS = 3
DAYS = (
    "home_line_days",
    "in_date_days",
    "out_of_date_days",
    "not_accessed_days",
    "intervals_scored",
    "intervals_on_time",
)
ROUNDING = 1e-12
"""Shares and rates may differ by as much: products are taken in another order."""


def installed() -> list[str]:
    """The tools that can be asked here, linedays first."""
    return [tool for tool in TOOLS if tool == "linedays" or importlib.util.find_spec(tool)]


def answers(tool: str, folder: Path, store: Path, as_of: date) -> dict[str, pd.DataFrame]:
    """Ask one tool: linedays reads the store, the others the files."""
    module = importlib.import_module(f"tests.benchmarks.other_tools.with_{tool}")
    skin = shipped_policy().on(as_of).codes_marked(FindingMark.SKIN_EVENT)
    place = store if tool == "linedays" else folder
    return module.answers(place, as_of, tuple(sorted(skin)))


def differences(ours: Mapping[str, pd.DataFrame], theirs: Mapping[str, pd.DataFrame]) -> list[str]:
    """Say where two tools differ; none: every count is equal and every share to rounding."""
    found = []
    ours_by_line, by_line = (
        tables["days"].assign(line_id=tables["days"]["line_id"].astype(object))
        .set_index("line_id")[list(DAYS)].sort_index().astype("int64")
        for tables in (ours, theirs)
    )  # fmt: skip
    if not ours_by_line.equals(by_line):
        found.append("days and intervals by line")
    month, event_days = ours["rates"]["group"].tolist(), ours["dwell"]["day"].tolist()
    if theirs["rates"]["month"].tolist() != month or theirs["dwell"]["day"].tolist() != event_days:
        return [*found, "months, or days on which a line ended"]
    for table, column in (
        ("rates", "events"),
        ("rates", "line_days"),
        ("rates", "rate_per_1000"),
        ("dwell", "at_risk"),
        ("dwell", "removed"),
        ("dwell", "in_place"),
    ):
        a, b = (tables[table][column].to_numpy(dtype=float) for tables in (ours, theirs))
        allowed = ROUNDING if column in {"rate_per_1000", "in_place"} else 0
        if not np.allclose(a, b, rtol=allowed, atol=0):
            found.append(f"{table}: {column}")
    return found


def lines_of_code(tool: str) -> int:
    """Lines of the tool's module that are neither blank nor part of a docstring."""
    path = Path(__file__).parent / "other_tools" / f"with_{tool}.py"
    text = path.read_text("utf-8")
    documented = (ast.Module, ast.FunctionDef, ast.ClassDef)
    words: set[int] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, documented) and ast.get_docstring(node) is not None:
            words.update(range(node.body[0].lineno, (node.body[0].end_lineno or 0) + 1))
    lines = enumerate(text.splitlines(), start=1)
    return sum(1 for at, line in lines if line.strip() and at not in words)


def asked_once(tool: str, folder: Path, store: Path, as_of: date, out: Path | None) -> None:
    """In a process of its own: ask, and print seconds and peak memory as JSON."""
    began = time.perf_counter()
    if out is None:
        with_linedays.fill(store, folder, as_of)
    else:
        for name, table in answers(tool, folder, store, as_of).items():
            table.to_pickle(out / f"{name}.pickle")
    seconds = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "peak_mb": peak}))


def _child(tool: str, folder: Path, store: Path, as_of: date, out: Path | None) -> dict[str, float]:
    asked = [tool, str(folder), str(store), as_of.isoformat(), str(out or "")]
    command = [sys.executable, "-m", "tests.benchmarks.side_by_side", "--one", *asked]
    printed = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout
    return json.loads(printed.splitlines()[-1])


def measured(folder: Path, as_of: date) -> dict[str, Any]:
    """Ask every installed tool the same questions and compare what it answers and costs.

    Raises
    ------
    SystemExit
        A tool gave other numbers.
    """
    tools = installed()
    with tempfile.TemporaryDirectory() as temporary:
        store = Path(temporary) / "store.sqlite"
        filled = _child("linedays", folder, store, as_of, None)
        costs: dict[str, list[dict[str, float]]] = {tool: [] for tool in tools}
        for _ in range(RUNS):
            for tool in tools:
                out = Path(temporary) / tool
                out.mkdir(exist_ok=True)
                costs[tool].append(_child(tool, folder, store, as_of, out))
        given = {
            tool: {
                name: pd.read_pickle(Path(temporary) / tool / f"{name}.pickle")
                for name in ("days", "rates", "dwell")
            }
            for tool in tools
        }
    for tool in tools[1:]:
        if differs := differences(given["linedays"], given[tool]):
            raise SystemExit(f"{tool} gave other numbers: {', '.join(differs)}")
    logs = sorted(folder.glob("home_log*.csv"))
    return {
        "log_rows": sum(path.read_bytes().count(b"\n") - 1 for path in logs),
        "lines": len(given["linedays"]["days"]),
        "ingest": filled,
        "tools": {
            tool: {
                "seconds": min(cost["seconds"] for cost in costs[tool]),
                "peak_mb": max(cost["peak_mb"] for cost in costs[tool]),
                "lines_of_code": lines_of_code(tool),
            }
            for tool in tools
        },
        "left_out": [tool for tool in TOOLS if tool not in tools],
    }


def show(found: Mapping[str, Any]) -> None:
    """Print one run as a table of ratios to linedays."""
    print(f"\n{found['log_rows']:,} log rows, {found['lines']:,} lines; equal numbers from all")
    ours = found["tools"]["linedays"]
    print(f"{'':<10}{'time':>8}{'memory':>9}{'code lines':>12}   (time and memory: x linedays)")
    for tool, cost in found["tools"].items():
        ratios = (cost[name] / ours[name] for name in ("seconds", "peak_mb"))
        seconds, memory = (f"{ratio:.1f}" for ratio in ratios)
        print(
            f"{tool:<10}{seconds:>8}{memory:>9}{cost['lines_of_code']:>12}"
            f"   {cost['seconds']:.2f} s, {cost['peak_mb']:.0f} MB"
        )
    once = found["ingest"]
    print(
        f"linedays first checks and stores the files, once: {once['seconds']:.1f} s, "
        f"{once['seconds'] / ours['seconds']:.1f} x its answers; the others check nothing."
    )
    for tool in found["left_out"]:
        print(f"{tool}: left out, not installed")


def invented(families: int) -> dict[str, Any]:
    """Measure an invented programme of so many families over two years."""
    with tempfile.TemporaryDirectory() as temporary:
        write_canonical(generate_blocks(families, until=AS_OF), Path(temporary), "csv")
        return measured(Path(temporary), AS_OF)


def main() -> None:
    """Measure programmes of some sizes, or the CSV files of a folder."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--families", type=int, nargs="*", default=[240, 2000])
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--as-of", type=date.fromisoformat, default=AS_OF)
    parser.add_argument("--one", nargs=5, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one is not None:
        tool, folder, store, as_of, out = asked.one
        on = date.fromisoformat(as_of)
        asked_once(tool, Path(folder), Path(store), on, Path(out) if out else None)
    elif asked.folder is not None:
        show(measured(asked.folder, asked.as_of))
    else:
        for families in asked.families:
            show(invented(families))


if __name__ == "__main__":
    main()
