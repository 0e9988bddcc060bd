"""How much of the program did the tests run, by package, and is it as much as agreed?

    python tests/covered.py PART.json [PART.json ...]

The parts are what slipcover writes. Each package is one line: lines and branches run, of how many.
Ends with 1 where the whole is below the floor.
"""

from __future__ import annotations

import json
import sys
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

LINES_AT_LEAST, BRANCHES_AT_LEAST = 0.90, 0.80
"""The floor of the whole. It moves up with what is measured, never down."""

Place = tuple[str, int | tuple[int, int]]
"""A file with a line of it, or with the two lines of a branch."""


def places(part: dict, kind: str, which: str) -> set[Place]:
    """Lines or branches of a part that were executed or missing."""
    return {
        (file, tuple(at) if isinstance(at, list) else at)
        for file, found in part["files"].items()
        for at in found[f"{which}_{kind}"]
    }


def of_package(file: str) -> str:
    folders = file.split("/")[:-1]
    return "/".join(folders[:2])


def counts(parts: list[dict], kind: str) -> dict[str, tuple[int, int]]:
    """How many lines or branches of each package were run in any part, and how many there are."""
    run = set().union(*(places(part, kind, "executed") for part in parts))
    there = run.union(*(places(part, kind, "missing") for part in parts))
    found: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for place in there:
        of = found[of_package(place[0])]
        of[0] += place in run
        of[1] += 1
    return {package: (ran, all_of_it) for package, (ran, all_of_it) in found.items()}


def whole(found: Iterable[tuple[int, int]]) -> tuple[int, int]:
    ran, there = zip(*found, strict=True)
    return sum(ran), sum(there)


def words(ran: int, there: int) -> str:
    share = f"{100 * ran / there:5.1f} %" if there else "      –"
    return f"{share} ({ran} of {there})"


def report(parts: list[dict]) -> tuple[str, bool]:
    """A table as text, and whether the floor is reached."""
    lines, branches = counts(parts, "lines"), counts(parts, "branches")
    rows = [
        f"{package:<28}{words(*lines[package]):<26}{words(*branches.get(package, (0, 0)))}"
        for package in sorted(lines)
    ]
    all_lines, all_branches = whole(lines.values()), whole(branches.values())
    rows.append(f"{'all':<28}{words(*all_lines):<26}{words(*all_branches)}")
    shares = all_lines[0] / all_lines[1], all_branches[0] / all_branches[1]
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
    text, enough = report([json.loads(Path(name).read_text("utf-8")) for name in sys.argv[1:]])
    sys.stdout.write(text + "\n")
    sys.exit(0 if enough else 1)
