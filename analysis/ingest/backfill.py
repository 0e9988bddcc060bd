"""When does a row of loaded history count as received, and does a file look like history?

History that a programme loads at the start arrives years after it happened. Loaded as such
(``ingest --history``), a row that names no receipt of its own counts as received at the end of the
day it was done, so that earlier days can be replayed; that is an assumption and marked as one.

*Source:* project definition, definitions §2.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from analysis.ingest.known_lines import KnownLines, positions
from analysis.ingest.limits import OLD_AFTER_DAYS
from analysis.ingest.moments import NONE
from analysis.ingest.zones import DAY, local_days, to_utc

Ints = npt.NDArray[np.int64]
Values = Mapping[str, "pa.Array | Ints"]

DONE_ON: Mapping[str, tuple[str, ...]] = {
    "lines": ("placed_on",),
    "stays": ("from_on",),
    "sign_offs": ("signed_on",),
    "home_log": ("done_on",),
    "outcomes": ("confirmed_on", "onset_on"),
    "calls": ("called_on",),
}
"""Columns of the day on which a row was done: the first one filled counts. A caregiver has none
and counts from the day the family's first line was placed."""


def days_done(table: str, values: Values, known: KnownLines) -> Ints:
    """Day on which each row was done, days since 1970-01-01; `NONE` where it is not known."""
    if table == "caregivers":
        families = values["family_id"]
        assert not isinstance(families, np.ndarray)
        first = np.full(len(known.family_ids) + 1, NONE, np.int64)
        placed = np.full(len(known.family_ids), np.iinfo(np.int64).max, np.int64)
        np.minimum.at(placed, known.family, known.placed)
        first[:-1] = placed
        return first[positions(families, known.family_ids)]
    found: Ints | None = None
    for name in DONE_ON[table]:
        days = values[name]
        assert isinstance(days, np.ndarray)
        found = days if found is None else np.where(found == NONE, days, found)
    assert found is not None
    return found


def assumed_receipts(days: Ints, received: Ints, zone: str) -> Ints:
    """Receipts of rows of history: the end of the day each was done, never later than received.

    Parameters
    ----------
    days : int64 array, shape (n,)
        Days since 1970-01-01, `NONE`: not known, and the row keeps its receipt.
    received : int64 array, shape (n,)
        Receipts without the assumption, microseconds UTC.
    zone : str
        The programme's time zone.

    Returns
    -------
    int64 array, shape (n,)
        Microseconds UTC.
    """
    known = days != NONE
    end = received.copy()
    end[known] = to_utc((days[known] + 1) * DAY, zone).utc - 1
    return np.minimum(end, received)


def count_old(days: Ints, received: Ints, zone: str) -> int:
    """How many rows were received more than `OLD_AFTER_DAYS` after they were done."""
    old = (days != NONE) & (local_days(received, zone) - days > OLD_AFTER_DAYS)
    return int(np.count_nonzero(old))
