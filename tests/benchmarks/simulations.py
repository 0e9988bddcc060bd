"""All simulations in one run: what each statistic claims, and what is measured.

Run from the project's folder: ``python -m tests.benchmarks.simulations``. Seeded, an hour or more on
two cores; each part can be run alone as well. The first table is the summary: error rates claimed
and measured for independent, clustered and seasonal programmes.
"""

from __future__ import annotations

import subprocess
import sys
import time

PARTS = ("simulate_programmes", "simulate_rates", "simulate_dwell", "simulate_refreshers")


def main() -> int:
    """Run the parts one after the other; 1 if one of them stopped with a fault."""
    failed = 0
    for name in PARTS:
        print(f"\n== {name}\n", flush=True)
        started = time.monotonic()
        made = subprocess.run([sys.executable, "-m", f"tests.benchmarks.{name}"], check=False)
        failed |= made.returncode != 0
        print(f"\n{name}: {time.monotonic() - started:.0f} s", flush=True)
    return failed


if __name__ == "__main__":
    sys.exit(main())
