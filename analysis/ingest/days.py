"""Which heads of a sheet are days?"""

from __future__ import annotations

from collections.abc import Sequence

import pyarrow as pa

from analysis.ingest.moments import NONE, DateStyle, read_moments


def are_days(head: Sequence[str], style: DateStyle) -> list[bool]:
    """Which heads are dates as a source writes them.

    Examples
    --------
    >>> are_days(["Line", "2031-03-04", "note"], DateStyle())
    [False, True, False]
    """
    found = read_moments(pa.array([cell or None for cell in head], pa.string()), style)
    return ((found.fault < 0) & (found.day != NONE)).tolist()
