"""All simulations in one run: what each statistic claims, and what is measured.

Run from the project's folder: ``python -m tests.benchmarks.simulations``. Seeded, about ten minutes
on one core; ``--whole`` repeats each as often as its docstring states, an hour or more on two. Each
part can be run alone as well. The first table is the summary: false-alarm rates, type I errors and
limits that miss the truth, claimed and measured, for independent, clustered and seasonal programmes.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time

PARTS = {
    "simulate_programmes": ("200", "200"),
    "simulate_refreshers": ("60", "200"),
    "simulate_rates": ("0.05", "1"),
    "simulate_dwell": ("150", "1000"),
}
"""Repeats of each part, in brief and whole."""


def main(*, whole: bool) -> int:
    """Run the parts one after the other; 1 if one of them stopped with a fault."""
    failed = 0
    for name, repeats in PARTS.items():
        print(f"\n== {name}\n", flush=True)
        started = time.monotonic()
        command = [sys.executable, "-m", f"tests.benchmarks.{name}", repeats[whole]]
        failed |= subprocess.run(command, check=False).returncode != 0
        print(f"\n{name}: {time.monotonic() - started:.0f} s", flush=True)
    return failed


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--whole", action="store_true", help="every repeat, an hour or more")
    sys.exit(main(whole=parser.parse_args().whole))
