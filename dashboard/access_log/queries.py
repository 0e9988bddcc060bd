"""Which entries of the access log may this person see?"""

from __future__ import annotations

from collections.abc import Hashable
from datetime import MAXYEAR, MINYEAR, datetime, time, timedelta

import pandas as pd

from analysis.snapshot import Snapshot
from analysis.store import ActsOf, People
from dashboard.access_log.views import AccessesView, AccessRow
from dashboard.addresses.access_log import AccessLogChoice
from dashboard.addresses.reading import iso_day
from dashboard.security.roles import Page, Reader
from dashboard.session.frames import cells
from dashboard.session.session import Session
from dashboard.session.views import PageContext

MOST_SHOWN = 200
MOST_LOOKED_AT = 5_000


class AccessLogQueries:
    """Questions of the access log, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.RECORD)
        self.session = session

    def accesses(self, choice: AccessLogChoice) -> AccessesView:
        """Who opened which family, newest first, as far as this person may know."""
        session = self.session
        people, found = session.store.people, session.snapshot()
        return accesses_view(people, found, session.context(), session.reader, choice)

    def version(self) -> Hashable:
        """What another takes the place of whenever an act was added to the log."""
        return self.session.store.people.accesses_version()


def accesses_view(
    people: People,
    found: Snapshot,
    context: PageContext,
    reader: Reader,
    choice: AccessLogChoice,
) -> AccessesView:
    """The newest rows of the log; for a person with a site scope those of their own families."""
    most = MOST_SHOWN + 1 if reader.sites is None else MOST_LOOKED_AT
    record = people.accesses(most, _asked(choice, found))
    if reader.sites is not None:
        record = record[_of_scope(record, found, reader)]
    zone = found.policy.zone
    names = ("at", "who", "what", "family_id", "about")
    return AccessesView(
        context=context,
        rows=tuple(
            AccessRow(
                at.tz_localize("UTC").tz_convert(zone).to_pydatetime(),
                who,
                str(what),
                family,
                about,
            )
            for at, who, what, family, about in cells(record.head(MOST_SHOWN), *names)
        ),
        more=len(record) > MOST_SHOWN,
        choice=choice,
    )


def _asked(choice: AccessLogChoice, found: Snapshot) -> ActsOf:
    """The acts chosen; days are those of the programme's time zone."""

    def start_of(text: str, *, days_later: int = 0) -> datetime | None:
        day = iso_day(text)
        if day is None or day.year in {MINYEAR, MAXYEAR}:
            return None
        return datetime.combine(day + timedelta(days=days_later), time(), found.policy.zone)

    return ActsOf(
        choice.who.strip() or None,
        choice.family.strip() or None,
        start_of(choice.first),
        start_of(choice.last, days_later=1),
    )


def _of_scope(record: pd.DataFrame, found: Snapshot, reader: Reader) -> pd.Series[bool]:
    of_family = record["family_id"].isin(found.timeline.families["family_id"])
    of_reader = (record["who"] == reader.code).fillna(value=False).astype(bool)
    return of_family | (of_reader & record["family_id"].isna())
