"""How much of the program did the tests run, by package, and is it as much as agreed?

    python tests/covered.py MEASURED.json

The file is what slipcover writes. Each package is one line: lines and branches run, of how many.
Ends with 1 where the whole is below the floor.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path

LINES_AT_LEAST, BRANCHES_AT_LEAST = 0.90, 0.80
"""The floor of the whole. It moves up with what is measured, never down."""
KINDS = ("lines", "branches")


def of_package(file: str) -> str:
    folders = file.split("/")[:-1]
    return "/".join(folders[:2])


def counts(measured: dict) -> dict[str, Counter[str]]:
    """For each package and for all: how many lines and branches were run, and how many were missed."""
    found: dict[str, Counter[str]] = {}
    for file, seen in measured["files"].items():
        here = Counter(
            {
                f"{which}_{kind}": len(seen[f"{which}_{kind}"])
                for kind in KINDS
                for which in ("executed", "missing")
            }
        )
        for package in (of_package(file), "all"):
            found.setdefault(package, Counter()).update(here)
    return found


def ran_and_there(found: Counter[str], kind: str) -> tuple[int, int]:
    ran = found[f"executed_{kind}"]
    return ran, ran + found[f"missing_{kind}"]


def words(ran: int, there: int) -> str:
    share = f"{100 * ran / there:5.1f} %" if there else "      –"
    return f"{share} ({ran} of {there})"


def report(measured: dict) -> tuple[str, bool]:
    """A table as text, and whether the floor is reached."""
    found = counts(measured)
    whole = found.pop("all", Counter())
    rows = [
        f"{package:<28}{words(*ran_and_there(seen, 'lines')):<26}{words(*ran_and_there(seen, 'branches'))}"
        for package, seen in [*sorted(found.items()), ("all", whole)]
    ]
    shares = [ran / max(there, 1) for ran, there in (ran_and_there(whole, kind) for kind in KINDS)]
    reached = shares[0] >= LINES_AT_LEAST and shares[1] >= BRANCHES_AT_LEAST
    floor = (
        f"Floor: {100 * LINES_AT_LEAST:.0f} % of lines, {100 * BRANCHES_AT_LEAST:.0f} % of branches"
    )
    return "\n".join(
        [
            f"{'package':<28}{'lines run':<26}branches run",
            *rows,
            f"{floor}: {'reached' if reached else 'NOT reached'}.",
        ]
    ), reached


if __name__ == "__main__":
    text, enough = report(json.loads(Path(sys.argv[1]).read_text("utf-8")))
    sys.stdout.write(text + "\n")
    sys.exit(0 if enough else 1)
