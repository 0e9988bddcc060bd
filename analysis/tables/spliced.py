"""How are the rows of some lines put in the place of those that a frame has of them?

In frames whose column `line` is the position of a line, the rows of a line lie together, or lie
together within each kind of row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

Ints = npt.NDArray[np.int64]
MOST_RUNS = 400
"""Runs of rows that are joined one by one at most."""


@dataclass(frozen=True)
class Renumbered:
    """Positions of lines now, by their position before."""

    kept: Ints
    """Of each line of the frame before; -1: its rows are replaced, or it is gone."""
    own: Ints
    """Of each line whose rows replace others."""


def renumbered(
    before: pd.Series[str],
    now: pd.Series[str],
    replaced: npt.NDArray[np.bool_],
    own: pd.Series[str],
) -> Renumbered | None:
    """Find where lines are now.

    Parameters
    ----------
    before, now : Series
        Name of each line, by position, before and now.
    replaced : bool array, shape (lines now,)
        Whether the rows of the line are replaced.
    own : Series
        Name of each line whose rows replace others, by their position among themselves.

    Returns
    -------
    Renumbered or None
        None: lines that are not replaced were not there before, or are in another order.
    """
    place = pd.Series(np.arange(len(now), dtype=np.int64), index=pd.Index(now))
    replacing = np.flatnonzero(replaced)
    if not now.iloc[replacing].reset_index(drop=True).equals(own.reset_index(drop=True)):
        return None
    found = place.reindex(pd.Index(before)).fillna(-1).to_numpy(dtype=np.int64)
    kept = np.where((found >= 0) & ~np.append(replaced, False)[found], found, -1)
    there = kept[kept >= 0]
    if len(there) != np.count_nonzero(~replaced) or (np.diff(there) <= 0).any():
        return None
    return Renumbered(kept, replacing)


def spliced(
    before: pd.DataFrame, own: pd.DataFrame, lines: Renumbered, kind: str | None = None
) -> pd.DataFrame:
    """Return a frame with the rows of `own` in place of those of replaced lines.

    Parameters
    ----------
    before, own : DataFrame
        The same columns, by kind and line; `line` is a position before, or in `own`.
    lines : Renumbered
        Where these lines are now.
    kind : str, optional
        Column of codes, with the same categories in both, by which rows lie first.
    """
    was = lines.kept[before["line"].to_numpy(dtype=np.int64)]
    now = lines.own[own["line"].to_numpy(dtype=np.int64)]
    n_lines = len(lines.kept) + len(lines.own)
    old_key, new_key = was, now
    if kind is not None:
        old_key = was + n_lines * before[kind].cat.codes.to_numpy(dtype=np.int64)
        new_key = now + n_lines * own[kind].cat.codes.to_numpy(dtype=np.int64)
    at = np.flatnonzero(was >= 0)
    cuts = np.searchsorted(old_key[at], new_key)
    order = np.insert(at, cuts, len(before) + np.arange(len(own)))
    line = np.insert(was[at], cuts, now)
    return in_order(before, own, order).assign(line=line)


def in_order(before: pd.DataFrame, own: pd.DataFrame, order: Ints) -> pd.DataFrame:
    """Rows of both by their position, `own` after `before`; they are taken run by run."""
    starts = np.flatnonzero((np.diff(order, prepend=-2) != 1) | (order == len(before)))
    if len(starts) > MOST_RUNS:
        whole = pd.concat([before, own], ignore_index=True).take(order)
    else:
        runs = zip(order[starts], np.diff(starts, append=len(order)), strict=True)
        parts = [_run(before, own, int(first), int(length)) for first, length in runs]
        whole = pd.concat(parts or [own], ignore_index=True)
    return whole.reset_index(drop=True)


def _run(before: pd.DataFrame, own: pd.DataFrame, first: int, length: int) -> pd.DataFrame:
    if first >= len(before):
        return own.iloc[first - len(before) :][:length]
    return before.iloc[first : first + length]
