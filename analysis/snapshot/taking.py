"""How is a snapshot taken of a store, from what was calculated of it before where that still holds?"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import partial

from analysis.decisions.order_file import fits_of
from analysis.policy import Policy
from analysis.snapshot.saved import Saved
from analysis.snapshot.snapshot import Snapshot
from analysis.store import Store


def end_of_day(day: date, policy: Policy) -> datetime:
    """Last microsecond of a day in the programme's time zone, in UTC.

    Examples
    --------
    >>> from analysis.policy import shipped_policy
    >>> end_of_day(date(2031, 3, 1), shipped_policy()).isoformat()
    '2031-03-01T23:59:59.999999+00:00'
    """
    next_midnight = datetime.combine(day + timedelta(days=1), time(), tzinfo=policy.zone)
    return next_midnight.astimezone(UTC) - timedelta(microseconds=1)


def take(
    store: Store, policy: Policy, as_of: date, known_at: date | datetime | None = None
) -> Snapshot:
    """Read the store as it was known at a time and look at it as of a day.

    Parameters
    ----------
    store : Store
        Where the rows are.
    policy : Policy
        Intervals and thresholds, by edition.
    as_of : date
        Read in the morning of this day: days before it count, entries up to it are known.
    known_at : date, datetime or None
        Rows received later are left out. A date means its end in the programme's zone; None:
        the end of the as-of day. A datetime needs a time zone.

    Returns
    -------
    Snapshot
        Frozen.

    Raises
    ------
    OrderError
        The fitted order that the policy names cannot be used.

    *Source:* project definition, definitions §2.
    """
    if known_at is None:
        known_at = as_of
    moment = known_at if isinstance(known_at, datetime) else end_of_day(known_at, policy)
    moment = moment.astimezone(UTC)
    ingests = store.ingests()  # first: of a file stored in between, the next snapshot learns
    about = partial(Snapshot, as_of, moment, policy, ingests=ingests, fits=fits_of(policy))
    saved = Saved.of(store)
    before = None if saved is None else saved.rows(moment)
    added = None if before is None else store.added(before, moment)
    if saved is None or before is None or added is None:
        return about(records=store.records(moment))
    earlier = about(records=before)
    vars(earlier).update(saved.parts(before, policy, as_of))
    return earlier.with_added(added, ingests) or about(records=added.records)
