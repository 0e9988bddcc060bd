"""Where does a person stand who asks or records something: on which day, with what knowledge?"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from analysis.snapshot import Snapshot, end_of_day
from analysis.vocabulary import Access
from dashboard.security.roles import Page, Reader, Right
from dashboard.session.forms import FormError
from dashboard.session.keeping import Kept
from dashboard.session.views import Standing

if TYPE_CHECKING:
    from dashboard.session.entrance import Entrance


class Desk:
    """Where one person stands: the store under the policy, on the day, within this person's sites."""

    def __init__(self, entrance: Entrance, reader: Reader) -> None:
        self._entrance = entrance
        self._reader = reader
        self._store = entrance.store
        self._policy = entrance.policy
        self._config = entrance.config

    # The day

    def now(self) -> datetime:
        """The present moment in the programme's zone; in the demo moved to its as-of day."""
        return self._entrance.now()

    def kept(self) -> Kept:
        """Everything of this person's sites as of the day, and what is looked up in it."""
        return self._entrance.kept(self._reader.sites)

    def snapshot(self) -> Snapshot:
        """What is known of every line of this person's sites on the day."""
        return self.kept().snapshot

    def standing(self) -> Standing:
        """What every page says of itself."""
        found = self.snapshot()
        is_today = found.as_of == self.now().date()
        return Standing(
            as_of=found.as_of,
            known_at=found.known_at.astimezone(self._policy.zone),
            knows_whole_day=found.known_at == end_of_day(found.as_of, self._policy),
            is_today=is_today,
            records_calls=is_today and self._reader.may(Right.RECORD_CALLS),
            policy=self._policy.name,
            edition=found.edition.version,
            demo=self._config.demo,
            reader=self._reader,
        )

    def may_open(self, page: Page) -> bool:
        """Whether this person may open a page."""
        return self._reader.may_open(page)

    def _only_today(self, where: str) -> None:
        if not self.standing().is_today:
            raise FormError(f"This is a look at a past day. {where}")

    def _note(self, what: Access, family_id: str | None = None, about: str | None = None) -> None:
        at = self._config.clock()
        self._store.people.note(self._reader.code, what, at, family_id=family_id, about=about)
