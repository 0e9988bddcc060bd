"""Write the figures of the guide: measure, keep the numbers as JSON, and print them into the guide.

    python -m tests.benchmarks.guide                 measure, then write both
    python -m tests.benchmarks.guide --print-only    the guide again from the JSON

Measures `side_by_side` and `partitions` on an invented programme (``--families``), or partitions of
a store (``--store``), ``--copies`` times. Nothing else in the guide states a measured figure.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

from synthetic_data import generate_blocks, write_canonical
from tests.benchmarks import partitions, side_by_side
from tests.benchmarks.other_tools.with_linedays import fill

HERE = Path(__file__).parent
FIGURES = HERE / "figures.json"
GUIDE = HERE.parents[1] / "DEVELOPERS.md"
BEGIN = "<!-- figures: written by python -m tests.benchmarks.guide -->"
END = "<!-- end of figures -->"
WAYS = ("whole", "in turn", "processes", "cluster")


def measured(families: int, store: Path | None, copies: int, parts: int) -> dict[str, Any]:
    """Run the benchmarks; returns their figures with where and when they were measured."""
    where_and_when = _where_and_when()
    with tempfile.TemporaryDirectory() as temporary:
        files, folder = Path(temporary) / "files", Path(temporary) / "parts"
        write_canonical(generate_blocks(families, until=side_by_side.AS_OF), files, "csv")
        compared = side_by_side.measured(files, side_by_side.AS_OF)
        if store is None:
            store = Path(temporary) / "store.sqlite"
            fill(store, files, side_by_side.AS_OF)
        folder.mkdir()
        apart = partitions.measured(store, folder, copies, parts, WAYS)
    return {**where_and_when, "side_by_side": compared, "partitions": apart}


def in_words(found: dict[str, Any]) -> str:
    """The block of the guide."""
    compared, apart = found["side_by_side"], found["partitions"]
    ours = compared["tools"]["linedays"]
    tools = [
        f"| {tool} | {cost['seconds'] / ours['seconds']:.1f} | "
        f"{cost['peak_mb'] / ours['peak_mb']:.1f} | {cost['lines_of_code']} |"
        for tool, cost in compared["tools"].items()
    ]
    ways = [
        f"| {way} | {cost['log_rows'] / cost['seconds'] / 1000:,.0f} | {cost['peak_mb'] / 1024:.1f} |"
        for way, cost in apart["ways"].items()
    ]
    once = compared["ingest"]["seconds"] / ours["seconds"]
    return "\n".join(
        [
            BEGIN,
            "",
            (
                f"Measured {found['date']} on {found['machine']}, commit {found['commit']}; before it "
                f"the machine's load was {found['load']}."
            ),
            "",
            (
                f"Four questions of {compared['log_rows']:,} log rows, equal answers; time and memory are "
                "times those of linedays:"
            ),
            "",
            "| tool | time | memory | lines of code |",
            "|---|---|---|---|",
            *tools,
            "",
            (
                f"linedays answers from its store. To check and store the files takes {once:.0f} times as "
                "long, once; the others check nothing."
            ),
            "",
            (
                f"{apart['log_rows']:,} log rows of {apart['lines']:,} lines in {apart['parts']} parts, "
                f"{apart['disk_mb']:.0f} MB of Parquet, equal bits in every way (2 processes, 2 workers):"
            ),
            "",
            "| way | thousand log rows a second | memory of all processes, GB |",
            "|---|---|---|",
            *ways,
            "",
            END,
        ]
    )


def printed(guide: str, block: str) -> str:
    """The guide with its block of figures replaced."""
    before, _, rest = guide.partition(BEGIN)
    _, _, after = rest.partition(END)
    return before + block + after


def _where_and_when() -> dict[str, str]:
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    commit = ["git", "rev-parse", "--short", "HEAD"]
    return {
        "machine": f"{os.cpu_count()} cores ({platform.machine()}), {memory:.0f} GB, "
        f"Python {platform.python_version()}",
        "date": time.strftime("%Y-%m-%d"),
        "load": f"{os.getloadavg()[0]:.1f}",
        "commit": subprocess.run(commit, check=True, capture_output=True, text=True).stdout.strip(),
    }


def main() -> None:
    """Measure unless only the guide is asked for, and write it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--families", type=int, default=2000)
    parser.add_argument("--store", type=Path)
    parser.add_argument("--copies", type=int, default=4)
    parser.add_argument("--parts", type=int, default=8)
    parser.add_argument("--print-only", action="store_true")
    asked = parser.parse_args()
    if not asked.print_only:
        found = measured(asked.families, asked.store, asked.copies, asked.parts)
        FIGURES.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    block = in_words(json.loads(FIGURES.read_text("utf-8")))
    GUIDE.write_text(printed(GUIDE.read_text("utf-8"), block), encoding="utf-8")


if __name__ == "__main__":
    main()
