"""What are the tallies of several sets of families together?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.tallies.tally import Tallies
from analysis.timeline.axis import Ints
from analysis.vocabulary import OutcomeKind


def joined(parts: Sequence[Tallies], families: Sequence[pd.Series[str]]) -> Tallies:
    """Put the tallies of disjoint sets of families together: the same bits as from all at once.

    Parameters
    ----------
    parts : sequence of Tallies
        At least one; no line, child or family is in two of them. As of the same day, under the
        same policy.
    families : sequence of Series
        The code of each family of each part's timeline, by position.

    Returns
    -------
    Tallies
        Lines, families and cells in the order in which `tally` has them.
    """
    every_family = pd.concat(families, ignore_index=True).sort_values(ignore_index=True)
    lines = pd.concat([part.lines for part in parts], ignore_index=True)
    now = lines.groupby("line_id", sort=False)["family_id"].transform("last")
    order = lines.assign(now=now).sort_values(["now", "child_id", "line_id"], kind="stable").index
    place = np.empty(len(lines), dtype=np.int64)
    place[order] = np.arange(len(lines))
    family = pd.Index(every_family).get_indexer(pd.Index(lines["family_id"])).astype(np.int64)
    begins = np.cumsum([0, *(len(part.lines) for part in parts)])

    def cells(name: str) -> pd.DataFrame:
        frames = (getattr(part, name) for part in parts)
        moved = [
            frame.assign(line=place[frame["line"].to_numpy(dtype=np.int64) + begin])
            for frame, begin in zip(frames, begins, strict=False)
        ]
        return pd.concat(moved, ignore_index=True)

    days, events, onsets = (cells(name) for name in ("days", "events", "onsets"))
    of_line = lines.assign(line=place, family=family).iloc[order].reset_index(drop=True)
    return replace(
        parts[0],
        lines=of_line,
        days=_in_order(days, days["task"].cat.codes.to_numpy()),
        events=_in_order(events, np.zeros(len(events), dtype=np.int64)),
        onsets=_in_order(onsets, kind_of(onsets)),
        row_of_holder=np.arange(len(of_line), dtype=np.int64),
    )


def kind_of(onsets: pd.DataFrame) -> Ints:
    """Number the kinds of events by which onsets are sorted: all outcomes are one."""
    words = list(onsets["event"].cat.categories)
    outcomes = [words.index(str(outcome)) for outcome in OutcomeKind]
    return np.minimum(onsets["event"].cat.codes.to_numpy(dtype=np.int64), min(outcomes))


def _in_order(cells: pd.DataFrame, first: np.ndarray) -> pd.DataFrame:
    """Sort cells by a number and line; those of one line keep their order."""
    return cells.iloc[np.lexsort((cells["line"].to_numpy(), first))].reset_index(drop=True)
