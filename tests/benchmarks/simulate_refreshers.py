"""Is a refresher that does nothing found to do nothing, and one that halves what is missed found?

Repeated made-up programmes (`tests.refreshed`): true shares that stay or come and go, and families
chosen at random, after a bad quarter, at once, or by what no log shows. Seeded; prints a table,
asserts nothing:

    python -m tests.benchmarks.simulate_refreshers [repeats]
"""

from __future__ import annotations

import sys

import numpy as np

from analysis.decisions.refresher_effect import Effect, effect_of, trial_of
from tests.refreshed import CHOICES, programme

SEED = 20310401
HEAD = (
    "choice   shares      families  true ratio  median  helps  harms  no answer  limits hold truth"
)


def tried(repeats: int, families: int, times: float, choice: str, *, spells: bool) -> str:
    """Return a row: how often an effect is claimed over many programmes, of families refreshed."""
    random = np.random.default_rng([SEED, families, int(times * 100), spells])
    found: list[Effect] = []
    for _ in range(repeats):
        made = programme(random, families, times, spells=spells, choice=choice)
        control = trial_of(made.control, made.refreshed_on)
        found.append(effect_of(made.occasions, made.refreshed_on, control))
    values = np.array([[f.adjusted_ratio, f.adjusted_lower, f.adjusted_upper] for f in found])
    shown = ~np.isnan(values[:, 1])
    held = (values[:, 1] <= times) & (times <= values[:, 2])
    return (
        f"{choice:8s} {'come and go' if spells else 'stay':11s} {families:8d}  {times:10.1f}  "
        f"{np.nanmedian(values[:, 0]):6.2f}  {np.mean(values[:, 2] < 1):5.3f}  "
        f"{np.mean(values[:, 1] > 1):5.3f}  {1 - shown.mean():9.3f}  "
        f"{held[shown].mean() if shown.any() else np.nan:17.3f}"
    )


def main(repeats: int) -> None:
    """Print all figures."""
    print(f"{repeats} repeats, seed {SEED}\n{HEAD}")
    for times in (1.0, 0.5):
        for choice in CHOICES:
            for spells in (False, True):
                for families in (60, 200):
                    row = tried(repeats, families, times, choice, spells=spells)
                    print(row, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 200)
