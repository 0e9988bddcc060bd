"""How do counts become cells, and which of them are hidden in a copy that leaves the team?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from analysis.measures.release import for_release
from analysis.stats.small_cells import hidden_counts
from analysis.vocabulary import Copy
from analysis.words import HIDDEN, limits, number, thousands


def counts_of(counts: Sequence[int], copy: Copy, *, add_up: bool = True) -> list[str]:
    """Counts as cells.

    Parameters
    ----------
    counts : sequence of int
        Counts of people or events.
    copy : Copy
        In one that leaves the team counts from 1 to 10 are hidden.
    add_up : bool
        They add up to a known total: what would reveal a hidden one is hidden too.
    """
    if copy is Copy.TEAM or not len(counts):
        return [thousands(int(n)) for n in counts]
    if add_up:
        hidden = hidden_counts(counts).counts
    else:
        hidden = np.concatenate([hidden_counts([n]).counts for n in counts])
    return [HIDDEN if h else thousands(int(n)) for n, h in zip(counts, hidden, strict=True)]


def many(cell: str) -> str:
    """A count inside a sentence, in words where it is hidden.

    Examples
    --------
    >>> many("12"), many("hidden")
    ('12', 'a hidden number of')
    """
    return "a hidden number of" if cell == HIDDEN else cell


def safe_share(part: int, whole: int) -> bool:
    """Whether a share may leave the team: neither part is a small count.

    Examples
    --------
    >>> safe_share(21, 25), safe_share(25, 25), safe_share(50, 70)
    (False, True, True)
    """
    return not any(hidden_counts([n]).counts[0] for n in (part, whole - part))


def released(rates: pd.DataFrame) -> pd.DataFrame:
    """Rates as a copy for outside shows them: a hidden count is missing, with its rate and limits."""
    return for_release(rates[["group", "events", "line_days", "rate_per_1000", "lower", "upper"]])


def rate_cells(row: Any) -> tuple[str, ...]:
    """Events, home line-days, rate and limits as cells."""
    days = thousands(int(row["line_days"]))
    if row.get("hidden"):
        return (HIDDEN, days, HIDDEN, HIDDEN)
    return (
        thousands(int(row["events"])),
        days,
        number(row["rate_per_1000"]),
        limits(row["lower"], row["upper"]),
    )


def column(frame: pd.DataFrame, name: str) -> list[float]:
    """A column as plain numbers, nan for missing."""
    return frame[name].astype("float64").fillna(np.nan).tolist()
