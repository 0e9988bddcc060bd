"""Who sends a request, what may they see, and on which snapshot is it answered?"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from datetime import datetime
from typing import TYPE_CHECKING

from analysis.policy import Policy
from analysis.snapshot import Snapshot, end_of_day
from analysis.store import Store
from analysis.vocabulary import Access
from dashboard.config import DashboardConfig
from dashboard.security.roles import Page, Reader, Right
from dashboard.session import families
from dashboard.session.answers import Answer
from dashboard.session.forms import FormError
from dashboard.session.loaded import LoadedSnapshot
from dashboard.session.views import PageContext

if TYPE_CHECKING:
    from dashboard.session.service import Service

BEHIND = "A large file came in and is still being read. Load this page again in a minute."


class Session:
    """One request of one person; all its answers are of one snapshot of this person's sites.

    The snapshot is the present one when it is first asked for. After a change in the same request
    `refresh` takes the next one.
    """

    def __init__(self, service: Service, reader: Reader) -> None:
        self.service = service
        self.reader = reader
        self._loaded: LoadedSnapshot | None = None
        self._all_sites: LoadedSnapshot | None = None
        self._context: PageContext | None = None

    @property
    def store(self) -> Store:
        """The store."""
        return self.service.store

    @property
    def policy(self) -> Policy:
        """The programme's policy."""
        return self.service.policy

    @property
    def config(self) -> DashboardConfig:
        """Settings of the dashboard."""
        return self.service.config

    # The day and its snapshot

    def now(self) -> datetime:
        """The present moment in the programme's zone; in the demo moved to its as-of day."""
        return self.service.now()

    def loaded(self) -> LoadedSnapshot:
        """The snapshot of this request with its indexes and answers."""
        if self._loaded is None:
            self._loaded = self.service.loaded(self.reader.sites)
        return self._loaded

    def snapshot(self) -> Snapshot:
        """Everything about the lines of this person's sites on the day."""
        return self.loaded().snapshot

    def snapshot_of_all_sites(self) -> Snapshot:
        """What is known of every line: to find out that something is of another site."""
        return self._loaded_of_all_sites().snapshot

    def _loaded_of_all_sites(self) -> LoadedSnapshot:
        if self.reader.sites is None:
            return self.loaded()
        if self._all_sites is None:
            self._all_sites = self.service.loaded(None)
        return self._all_sites

    def refresh(self) -> None:
        """Answer from now on with everything that is stored, also by this request."""
        self._loaded = self.service.loaded(self.reader.sites, fresh=True)
        self._all_sites = self._context = None

    def context(self) -> PageContext:
        """What every page shows of its day, its data and its reader."""
        if self._context is None:
            self._context = self._context_now()
        return self._context

    def _context_now(self) -> PageContext:
        found = self.snapshot()
        is_today = found.as_of == self.now().date()
        behind = (BEHIND,) if self.service.is_behind else ()
        return PageContext(
            as_of=found.as_of,
            known_at=found.known_at.astimezone(self.policy.zone),
            knows_whole_day=found.known_at == end_of_day(found.as_of, self.policy),
            is_today=is_today,
            records_calls=is_today and self.reader.may(Right.RECORD_CALLS),
            policy=self.policy.name,
            edition=found.edition.version,
            demo=self.config.demo,
            reader=self.reader,
            lines_known=len(found.timeline.lines),
            lines_at_home=self.loaded().lines_at_home,
            caveats=(*found.caveats_on(self.now().date()), *behind),
        )

    def require_today(self, what_to_do: str) -> None:
        """Go on only on the page of today.

        Raises
        ------
        FormError
            It is the page of an earlier day; `what_to_do` is its second sentence.
        """
        if not self.context().is_today:
            raise FormError(f"This page shows an earlier day. {what_to_do}")

    # What is computed once

    def cached(
        self, key: Hashable, compute: Callable[[], Answer], *, lasting: bool = False
    ) -> Answer:
        """An answer for everybody with this person's sites, computed once for a snapshot.

        Parameters
        ----------
        key : hashable
            The choice, and what else about the person the answer depends on: `seen_as` is all of
            it but the code.
        compute : callable
            Gives the answer from this request's snapshot.
        lasting : bool
            The answer does not depend on recorded calls and arrangements.
        """
        loaded = self.loaded()
        return (loaded.lasting if lasting else loaded.answers).get(key, compute)

    def cached_until_written(self, key: Hashable, compute: Callable[[], Answer]) -> Answer:
        """As :meth:`cached`, for what the store holds next to the snapshot's rows.

        It is computed again after anybody has written to the store.
        """
        return self.cached((key, self.store.data_version()), compute)

    def seen_as(self) -> Hashable:
        """What this person may see and do, as far as pages differ by it."""
        rights = frozenset(str(right) for right in Right if self.reader.may(right))
        return rights, self.config.as_of in (None, self.now().date())

    # Families

    def may_open(self, page: Page) -> bool:
        """Whether this person may open a page."""
        return self.reader.may_open(page)

    def knows_family(self, family_id: object) -> bool:
        """Whether there is a family with this code that this person may see."""
        return families.known_family(self.loaded(), family_id) is not None

    def open_family(self, family_id: object) -> str | None:
        """The code of a family that is opened now, which is logged; None: no such for this person."""
        known = families.known_family(self.loaded(), family_id)
        if known is not None:
            self.note(Access.OPENED_FAMILY, known)
        elif self.reader.sites is not None:
            other = families.known_family(self._loaded_of_all_sites(), family_id)
            if other is not None:
                self.note(Access.REFUSED, other, "a family of another site")
        return known

    def family_shown_first(self, family_id: object) -> str | None:
        """The code of a family that a page opens by itself, which nobody asked for; None: no such.

        It is not logged: the access log holds what a person did.
        """
        return families.known_family(self.loaded(), family_id)

    def opened_by_others(self, family_id: str) -> list[tuple[str, datetime]]:
        """Who else opened a family a moment ago, and when; the newest first."""
        now = self.config.clock()
        return self.store.people.opened_by_others(family_id, self.reader.code, now)

    def contact_and_language(
        self, found: Snapshot, family_id: str
    ) -> tuple[str | None, str | None]:
        """Newest contact and language of a family, each only for who may see it."""
        contact, language = families.how_to_reach(found, family_id)
        return (
            contact if self.reader.may(Right.CONTACT) else None,
            language if self.reader.may(Right.LANGUAGE) else None,
        )

    # How this person sets up a page

    def own_choice(self, page: str) -> str:
        """The query of a page's address as this person last chose it; blank: the usual."""
        return self.store.people.choice(self.reader.code, page) or ""

    def keep_choice(self, page: str, query: str) -> None:
        """Remember it for this person, on every machine."""
        self.store.people.keep_choice(self.reader.code, page, query)

    # The access log

    def note(self, what: Access, family_id: str | None = None, about: str | None = None) -> None:
        """Write an act of this person to the access log."""
        at = self.config.clock()
        self.store.people.note(self.reader.code, what, at, family_id=family_id, about=about)

    def note_export(self, table: str) -> None:
        """Write to the access log that this person exports a table."""
        self.note(Access.EXPORTED_TABLE, about=table)
