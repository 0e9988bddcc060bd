"""A made-up programme that sends families to a refresher after a bad spell."""

import numpy as np

from analysis.decisions.refreshers import WINDOW_DAYS

WEEKS = 104
NEVER = np.iinfo(np.int64).max


def programme(
    random: np.random.Generator, families: int, halves: float, *, spells: bool
) -> tuple[np.ndarray, ...]:
    """Occasions of families whose share is multiplied by `halves` after their refresher.

    With `spells` the true share of a family doubles or halves for half a year at a time.
    """
    share = np.minimum(random.gamma(2.0, 0.06, families), 0.6)
    shares = np.repeat(share[:, None], WEEKS, axis=1)
    if spells:
        turns = random.choice([0.5, 1.0, 2.0], (families, WEEKS // 26))
        shares = np.minimum(shares * np.repeat(turns, 26, axis=1), 0.9)
    refreshed = np.full(families, NEVER)
    missed = np.zeros((families, WEEKS), dtype=bool)
    quarter = WINDOW_DAYS // 7
    for week in range(WEEKS):
        after = refreshed < week * 7
        missed[:, week] = random.random(families) < shares[:, week] * np.where(after, halves, 1)
        if week >= quarter and week % 4 == 0:
            bad = missed[:, week - quarter + 1 : week + 1].sum(axis=1) >= 4
            sent = bad & (refreshed == NEVER) & (random.random(families) < 1 / 3)
            refreshed[sent] = week * 7
    family = np.repeat(np.arange(families), WEEKS)
    day = np.tile(np.arange(WEEKS) * 7, families)
    return family, day, missed.ravel(), refreshed
