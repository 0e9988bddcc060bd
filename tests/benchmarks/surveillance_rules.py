"""Rules that were compared with the one in use: CUSUM, EWMA and a scan of windows.

All read counts and expected counts, shape (..., steps), and give a statistic of the same shape.
"""

from __future__ import annotations

import numpy as np


def cusum(events: np.ndarray, reference: np.ndarray) -> np.ndarray:
    """One-sided CUSUM of counts above a reference value.

    Source: Lucas, Technometrics 1985;27:129 (from memory).
    """
    total, found = np.zeros(events.shape[:-1]), np.empty(events.shape)
    for step in range(events.shape[-1]):
        total = np.maximum(0.0, total + events[..., step] - reference[..., step])
        found[..., step] = total
    return found


def ratio_cusum(events: np.ndarray, expected: np.ndarray, ratio: float) -> np.ndarray:
    """CUSUM in units of evidence: logarithms of likelihood ratios for a rate so many times as high."""
    return np.log(ratio) * cusum(events, expected * (ratio - 1) / np.log(ratio))


def ewma(events: np.ndarray, expected: np.ndarray, weight: float) -> np.ndarray:
    """Exponentially weighted mean of events less expected ones, from 0.

    Source: Borror, Champ and Rigdon, J Qual Technol 1998;30:352 (from memory).
    """
    mean, found = np.zeros(events.shape[:-1]), np.empty(events.shape)
    for step in range(events.shape[-1]):
        mean = (1 - weight) * mean + weight * (events[..., step] - expected[..., step])
        found[..., step] = mean
    return found


def standardised_ewma(events: np.ndarray, expected: np.ndarray, weight: float) -> np.ndarray:
    """The same over its standard deviation, that of Poisson counts."""
    variance = np.zeros(expected.shape[:-1])
    scale = np.empty(expected.shape)
    for step in range(expected.shape[-1]):
        variance = (1 - weight) ** 2 * variance + weight**2 * expected[..., step]
        scale[..., step] = np.sqrt(variance)
    return ewma(events, expected, weight) / np.maximum(scale, 1e-9)


def scan(events: np.ndarray, expected: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Largest likelihood ratio over all windows that end now and begin with a month.

    Source: Poisson scan statistic, Kulldorff, Commun Stat 1997;26:1481 (from memory).
    """
    seen, wanted = np.cumsum(events, axis=-1), np.cumsum(expected, axis=-1)
    found = np.zeros(events.shape)
    for start in starts:
        before = (seen[..., [start - 1]], wanted[..., [start - 1]]) if start else (0.0, 0.0)
        count, mean = seen[..., start:] - before[0], wanted[..., start:] - before[1]
        high = count > mean
        ratio = np.where(high, count, 1.0) / np.where(high, np.maximum(mean, 1e-12), 1.0)
        evidence = np.where(high, count * np.log(ratio) - (count - mean), 0.0)
        found[..., start:] = np.maximum(found[..., start:], evidence)
    return found
