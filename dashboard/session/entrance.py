"""Who comes in, and which questions may this person ask? Shared by all requests.

The snapshot of each scope is kept until the store or the day changes, so that pages answer
quickly and a recorded call shows at once.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from datetime import date, datetime

from analysis.decisions.order_file import fits_of
from analysis.ingest import Profile, load_profile
from analysis.policy import Policy, load_policy
from analysis.snapshot import Snapshot, of_sites, take
from analysis.store import IDLE_LIMIT, SignIn, Store, StoreError
from analysis.vocabulary import Access
from dashboard.config import DashboardConfig
from dashboard.security.roles import DEMO_READER, Reader
from dashboard.session.door import Queries
from dashboard.session.keeping import Kept
from dashboard.session.scope import acts_of

SCOPES_KEPT = 8
IDLE_SECONDS = int(IDLE_LIMIT.total_seconds())
"""A sign-in that nobody used for so long has ended."""


class Entrance:
    """One store under one policy, and the people who may ask. Threads may share it."""

    def __init__(
        self,
        store: Store,
        policy: Policy,
        config: DashboardConfig,
        profiles: Mapping[str, Profile] | None = None,
    ) -> None:
        self.store = store
        self.policy = policy
        self.config = config
        self.profiles = profiles or {}
        self._lock = threading.Lock()
        self._key: tuple[int, date] | None = None
        self._whole: Kept
        self._of_sites: dict[frozenset[str], Kept] = {}

    @classmethod
    def open(cls, config: DashboardConfig, *, all_day: bool = False) -> Entrance:
        """Open the store and the policy.

        Parameters
        ----------
        config : DashboardConfig
            Store, policy and day.
        all_day : bool
            Many people ask: connections to the store are kept until it is closed.

        Raises
        ------
        StoreError, PolicyError, ProfileError
            They cannot be read, or a demo was asked for of a store that people sign in to.
        """
        policy = load_policy(config.policy_file)
        profiles = [load_profile(p) for p in config.profiles]
        fits_of(policy)  # a file of fitted orders that can't be used is told before anybody asks
        store = Store.open(config.store_url, create=False, keeps_readers=all_day)
        entrance = cls(store, policy, config, {p.name: p for p in profiles})
        if config.demo and entrance.has_users():
            entrance.close()
            raise StoreError("People sign in to this store, so it cannot be shown as a demo.")
        return entrance

    def close(self) -> None:
        """Let go of the store."""
        self.store.close()

    def look_ahead(self) -> None:
        """Look at everything once, so that nobody has to wait for it, and let go of the store.

        A process may be forked after it: what was looked at is shared, no connection is.
        """
        self.kept(None).look_ahead()
        self.store.close()

    # Who

    def has_users(self) -> bool:
        """Whether anybody can sign in."""
        return any(user.active for user in self.store.people.all())

    def reader_of(self, token: str | None, *, uses: bool) -> Reader | None:
        """Who shows this token; None for nobody. The demo signs in by itself."""
        if self.config.demo:
            return DEMO_READER
        if not token:
            return None
        user = self.store.people.signed_in(token, self.config.clock(), uses=uses)
        if user is None:
            return None
        sites = None if user.sites is None else frozenset(user.sites)
        return Reader(user.code, user.role, sites, user.families)

    def sign_in(self, code: str, password: str, address: str) -> SignIn:
        """Try to sign in."""
        return self.store.people.sign_in(code, password, address, self.config.clock())

    def sign_out(self, token: str) -> None:
        """End a sign-in."""
        self.store.people.sign_out(token, self.config.clock())

    def note_refusal(self, reader: Reader, what: str) -> None:
        """Note that somebody asked for what the role does not include."""
        self.store.people.note(reader.code, Access.REFUSED, self.config.clock(), about=what)

    # What

    def queries_of(self, reader: Reader) -> Queries:
        """The questions of one person."""
        return Queries(self, reader)

    def now(self) -> datetime:
        """The present moment in the programme's zone; in the demo moved to its as-of day."""
        now = self.config.clock().astimezone(self.policy.zone)
        if self.config.demo and self.config.as_of is not None:
            return datetime.combine(self.config.as_of, now.timetz())
        return now

    def snapshot(self, sites: frozenset[str] | None) -> Snapshot:
        """What is known on the day of every line of some sites; None: of all."""
        return self.kept(sites).snapshot

    def kept(self, sites: frozenset[str] | None) -> Kept:
        """Everything of some sites as of the day, made anew when store or day have changed."""
        as_of = self.config.as_of or self.now().date()
        with self._lock:
            key = (self.store.data_version(), as_of)
            if self._key != key:
                self._renew(key)
            if sites is not None and sites not in self._of_sites:
                if len(self._of_sites) >= SCOPES_KEPT:
                    self._of_sites.clear()
                self._of_sites[sites] = Kept(of_sites(self._whole.snapshot, sites))
            return self._whole if sites is None else self._of_sites[sites]

    def _renew(self, key: tuple[int, date]) -> None:
        """Look anew at everything, or only at calls and arrangements where nothing else came in."""
        same_day = self._key is not None and self._key[1] == key[1]
        newer = self._whole.with_acts_of(self.store) if same_day else None
        if newer is None:
            self._of_sites.clear()
            self._whole = Kept(take(self.store, self.policy, key[1], self.config.known_at))
        else:
            self._whole = newer
            records = newer.snapshot.records
            self._of_sites = {
                sites: kept.with_acts(
                    acts_of(kept.snapshot, records.calls),
                    acts_of(kept.snapshot, records.arrangements),
                )
                for sites, kept in self._of_sites.items()
            }
        self._key = key
