"""How does a moment lie in the store?"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

_START = datetime(1970, 1, 1, tzinfo=UTC)


def microseconds(moment: datetime) -> int:
    """Microseconds since 1970 UTC; a moment without an offset is UTC.

    Examples
    --------
    >>> microseconds(datetime(1970, 1, 1, 0, 0, 1))
    1000000
    """
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return (aware - _START) // timedelta(microseconds=1)


def moment_of(microseconds_utc: int) -> datetime:
    """Inverse of :func:`microseconds`."""
    return _START + timedelta(microseconds=microseconds_utc)
