"""What may a formula be given, and what is the message when it may not?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


def whole_numbers(values: npt.ArrayLike, name: str) -> IntArray:
    """Return counts as int64, refusing anything that is not a whole number of 0 or more.

    Raises
    ------
    ValueError
        The message names the argument, the first position at fault and its value.

    Examples
    --------
    >>> whole_numbers([1, -2], "events")
    Traceback (most recent call last):
    ValueError: events must be whole numbers of 0 or more; position 1 holds -2
    """
    given = np.asarray(values)
    if given.dtype == object or given.dtype.kind not in "iuf":
        found = f"values of type {given.dtype}"
        raise ValueError(f"{name} must be whole numbers of 0 or more, but holds {found}")
    bad = ~(np.isfinite(given) & (given >= 0) & (given == np.floor(given)))
    if bad.any():
        at = int(np.flatnonzero(bad.ravel())[0])
        value = given.ravel()[at]
        raise ValueError(f"{name} must be whole numbers of 0 or more; position {at} holds {value}")
    return given.astype(np.int64)


def exposures(values: npt.ArrayLike, name: str) -> FloatArray:
    """Return line-days or expected events as float64, refusing anything below 0 or not finite.

    Raises
    ------
    ValueError
        The message names the argument, the first position at fault and its value.

    Examples
    --------
    >>> exposures([2.5, -1], "expected")
    Traceback (most recent call last):
    ValueError: expected must be 0 or more; position 1 holds -1.0
    """
    given = np.asarray(values, dtype=np.float64)
    bad = ~(np.isfinite(given) & (given >= 0))
    if bad.any():
        at = int(np.flatnonzero(bad.ravel())[0])
        raise ValueError(f"{name} must be 0 or more; position {at} holds {given.ravel()[at]}")
    return given


def share_counts(numerator: npt.ArrayLike, denominator: npt.ArrayLike) -> tuple[IntArray, IntArray]:
    """Return numerator and denominator as int64, refusing a numerator above its denominator.

    Raises
    ------
    ValueError
        Not whole numbers of 0 or more, or a numerator above its denominator.
    """
    yes, out_of = np.broadcast_arrays(
        whole_numbers(numerator, "numerator"), whole_numbers(denominator, "denominator")
    )
    if (yes > out_of).any():
        at = int(np.flatnonzero((yes > out_of).ravel())[0])
        pair = f"{yes.ravel()[at]} of {out_of.ravel()[at]}"
        raise ValueError(f"numerator must not be above denominator; position {at} holds {pair}")
    return yes, out_of


def tail_of(confidence: float) -> float:
    """Probability in either tail of a central interval.

    Raises
    ------
    ValueError
        Confidence outside (0, 1).

    Examples
    --------
    >>> round(tail_of(0.95), 4)
    0.025
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, but is {confidence!r}")
    return (1 - confidence) / 2


def quotient(top: npt.ArrayLike, bottom: npt.ArrayLike) -> FloatArray:
    """Top over bottom; nan where bottom is 0.

    Examples
    --------
    >>> quotient([1, 1], [2, 0]).tolist()
    [0.5, nan]
    """
    above, below = np.asarray(top, dtype=np.float64), np.asarray(bottom, dtype=np.float64)
    result = np.full(np.broadcast_shapes(above.shape, below.shape), np.nan)
    np.divide(above, below, out=result, where=below != 0)
    return result
