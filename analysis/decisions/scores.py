"""How well does an order, or a predicted risk, single out those with an event?

Arrays in, one number out; nan where there is nothing to judge by.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import stats

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


def auc_within(event: npt.ArrayLike, score: npt.ArrayLike, group: npt.NDArray[np.int64]) -> float:
    """Chance that one with an event scores higher than one without; ties count half.

    Only within a group, all such pairs taken together. *Source:* Mann-Whitney form: Hanley and
    McNeil, Radiology 1982;143:29 (from memory).

    Examples
    --------
    >>> auc_within([1, 0, 1], [0.9, 0.5, 0.5], np.zeros(3, np.int64))
    0.75
    """
    happened, value = _judged(event, score)
    wider = float(np.ptp(stats.rankdata(value, method="dense"))) + 2 if len(value) else 1.0
    # Ranks among all, the groups moved apart, less the rows of earlier groups.
    order = stats.rankdata(group * wider + stats.rankdata(value, method="dense"))
    rank = order - np.concatenate([[0], np.cumsum(np.bincount(group))])[group]
    positive = np.bincount(group, weights=happened)
    total = np.bincount(group)
    above = np.bincount(group, weights=np.where(happened, rank, 0.0))
    pairs = (positive * (total - positive)).sum()
    wins = (above - positive * (positive + 1) / 2)[(positive > 0)].sum()
    return float(wins / pairs) if pairs else math.nan


def net_benefit(event: npt.ArrayLike, chosen: npt.ArrayLike, threshold: float) -> float:
    """Those rightly chosen less those wrongly chosen at the threshold's odds, per person.

    Parameters
    ----------
    event : array_like of bool, shape (n,)
        What happened.
    chosen : array_like of bool, shape (n,)
        Who was acted on: a call made, or a predicted risk at or above the threshold.
    threshold : float in (0, 1)
        Risk at which acting is just worth it: at 0.05 one hit is worth 19 false calls.

    Raises
    ------
    ValueError
        The threshold is not between 0 and 1.

    *Source:* Vickers and Elkin, Med Decis Making 2006;26:565 (from memory).

    Examples
    --------
    >>> round(net_benefit([1, 1, 0, 0], [1, 0, 1, 0], 0.2), 4)
    0.1875
    """
    if not 0 < threshold < 1:
        raise ValueError(f"threshold {threshold} is not between 0 and 1")
    happened, acted = np.asarray(event, dtype=np.bool_), np.asarray(chosen, dtype=np.bool_)
    if not len(happened):
        return math.nan
    right, wrong = (happened & acted).sum(), (~happened & acted).sum()
    return float((right - wrong * threshold / (1 - threshold)) / len(happened))


def _judged(event: npt.ArrayLike, score: npt.ArrayLike) -> tuple[Flags, Floats]:
    happened, value = np.asarray(event, dtype=np.bool_), np.asarray(score, dtype=np.float64)
    if happened.shape != value.shape or happened.ndim != 1:
        raise ValueError(f"{happened.shape} events, but {value.shape} scores")
    return happened, value
