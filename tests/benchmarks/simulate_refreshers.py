"""Is a refresher that does nothing found to do nothing, and one that halves what is missed found?

Repeated made-up programmes: families' true shares differ, each changes weekly for two years, and
every four weeks a family that missed much in its last quarter is sent to a refresher with a chance
of one in three. Seeded; prints, asserts nothing. About a minute:

    python -m tests.benchmarks.simulate_refreshers [repeats]
"""

from __future__ import annotations

import sys

import numpy as np

from analysis.decisions.refreshers import Effect, effect_of, spells_of
from tests.refreshed import programme

SEED = 20310401


def tried(repeats: int, families: int, true_ratio: float, *, spells: bool) -> None:
    """Print what the two estimates say over many programmes."""
    random = np.random.default_rng([SEED, families, int(true_ratio * 100), spells])
    found: list[Effect] = [
        effect_of(spells_of(*programme(random, families, true_ratio, spells=spells)))
        for _ in range(repeats)
    ]
    sent = np.mean([f.families for f in found])
    own = np.array([[f.own_ratio, f.own_lower, f.own_upper] for f in found])
    fair = np.array([[f.adjusted_ratio, f.adjusted_lower, f.adjusted_upper] for f in found])
    for name, values in (("own before/after", own), ("adjusted", fair)):
        below = np.mean(values[:, 2] < 1)
        above = np.mean(values[:, 1] > 1)
        held = np.mean((values[:, 1] <= true_ratio) & (true_ratio <= values[:, 2]))
        print(
            f"  {name:17s} median ratio {np.nanmedian(values[:, 0]):.2f}; "
            f"said to help {below:.3f}, to harm {above:.3f}; limits hold the truth {held:.3f}"
        )
    print(f"  ({sent:.0f} of {families} families refreshed on average)\n")


def main(repeats: int) -> None:
    """Print all figures."""
    print(f"{repeats} repeats, seed {SEED}\n")
    for spells in (False, True):
        kind = "true shares that come and go" if spells else "true shares that stay"
        for families in (60, 200):
            for ratio in (1.0, 0.5):
                print(f"{families} families, {kind}; refreshers multiply what is missed by {ratio}")
                tried(repeats, families, ratio, spells=spells)


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 200)
