"""A made-up programme that sends families to a refresher."""

from typing import NamedTuple

import numpy as np

from analysis.decisions.refresher_trials import WINDOW_DAYS

WEEKS = 104
NEVER = np.iinfo(np.int64).max
QUARTER = WINDOW_DAYS // 7
CHOICES = ("random", "bad", "prompt", "hidden", "eager")
"""Who is sent: anybody; after a bad quarter, once in four weeks; at once when something is missed in
one; whoever is truly worst, or best, by what no log shows."""


class Programme(NamedTuple):
    """Weekly occasions of a step that refreshers teach, and of one that they do not."""

    occasions: tuple[np.ndarray, np.ndarray, np.ndarray]
    refreshed_on: np.ndarray
    control: tuple[np.ndarray, np.ndarray, np.ndarray]


def programme(
    random: np.random.Generator, families: int, times: float, *, spells: bool, choice: str = "bad"
) -> Programme:
    """Make a programme whose families' share is multiplied by `times` after their refresher.

    With `spells` the true share of a family doubles or halves for half a year at a time, each
    family's from a week of its own. The control step goes with the true share, and no refresher
    changes it.
    """
    share = np.minimum(random.gamma(2.0, 0.06, families), 0.6)
    shares = np.repeat(share[:, None], WEEKS, axis=1)
    if spells:
        turns = random.choice([0.5, 1.0, 2.0], (families, WEEKS // 26 + 1))
        half = (np.arange(WEEKS)[None, :] + random.integers(0, 26, families)[:, None]) // 26
        shares = np.minimum(shares * np.take_along_axis(turns, half, axis=1), 0.9)
    refreshed = np.full(families, NEVER)
    missed = np.zeros((families, WEEKS), dtype=bool)
    for week in range(WEEKS):
        after = refreshed < week * 7
        missed[:, week] = random.random(families) < shares[:, week] * np.where(after, times, 1)
        if week < QUARTER:
            continue
        count = missed[:, week - QUARTER + 1 : week + 1].sum(axis=1)
        monthly = float(week % 4 == 0)
        chance = {
            "random": np.full(families, 0.04 * monthly),
            "bad": (count >= 4) * monthly / 3,
            "prompt": ((count >= 4) & missed[:, week]) * 0.5,
            "hidden": np.minimum(shares[:, week] * 0.35, 0.5) * monthly,
            "eager": np.maximum(0.3 - shares[:, week], 0.0) * 0.2 * monthly,
        }[choice]
        sent = (refreshed == NEVER) & (random.random(families) < chance)
        refreshed[sent] = week * 7
    control = random.random((families, WEEKS)) < shares * 0.8
    family = np.repeat(np.arange(families), WEEKS)
    day = np.tile(np.arange(WEEKS) * 7, families)
    return Programme((family, day, missed.ravel()), refreshed, (family, day, control.ravel()))
