"""By which morning is each thing planted in the demo found? Prints a table; run as

    python -m tests.benchmarks.planted [families] [seed]

Late habits and early failures are looked for every eighth week, news every morning.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from analysis.cli.replaying import read_history
from tests import planted
from tests.demo.conftest import AS_OF, POLICY, ingested


def main(families: int, seed: int) -> None:
    """Print who is found for what, on which morning, and by when it had to be."""
    with tempfile.TemporaryDirectory() as folder:
        made = ingested(Path(folder), families, seed)
        history, truth = read_history(made.url), made.demo.truth
        past = planted.habit_mornings(AS_OF, AS_OF.replace(year=AS_OF.year - 2))
        told = planted.replayed(history, POLICY, [*past, *planted.news_mornings(AS_OF)])
        calls = planted.calls_found(told, planted.expected_calls(truth, POLICY))
        print(calls.to_string(index=False))
        people = planted.caregivers_found(history, POLICY, truth, past)
        print(people.drop(columns="evidence").to_string(index=False))
        made.store.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("families", nargs="?", type=int, default=240)
    parser.add_argument("seed", nargs="?", type=int, default=1)
    options = parser.parse_args()
    main(options.families, options.seed)
