"""What do all requests share: the store, its policy, the people, the present snapshot?"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from datetime import date, datetime

from analysis.decisions.order_file import fits_of
from analysis.ingest import Profile, load_profile
from analysis.policy import Policy
from analysis.snapshot import Snapshot
from analysis.store import IDLE_LIMIT, ProviderUser, SignIn, Store, StoreError
from analysis.vocabulary import Access
from dashboard.config import DashboardConfig
from dashboard.provider import Group
from dashboard.security.openid import Identity, ProviderError
from dashboard.security.roles import DEMO_READER, Reader
from dashboard.session.ended import EndedHere
from dashboard.session.loaded import LoadedSnapshot
from dashboard.session.session import Session
from dashboard.session.snapshots import SnapshotCache, Version

log = logging.getLogger("linedays.dashboard")

IDLE_SECONDS = int(IDLE_LIMIT.total_seconds())
"""A sign-in ends when it was not used for so long."""


class Service:
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
        self._snapshots = SnapshotCache(store, policy, config.known_at)
        self._ended = EndedHere()

    @classmethod
    def open(cls, config: DashboardConfig, *, all_day: bool = False) -> Service:
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
        profiles = [load_profile(p) for p in config.profiles]
        store = Store.open(config.store_url, create=False, keeps_readers=all_day)
        policy = store.policy_for(config.policy_file)
        fits_of(policy)  # a file of fitted orders that cannot be used is reported at the start
        service = cls(store, policy, config, {p.name: p for p in profiles})
        try:
            store.people.use_key(config.web.second_factor_key)
        except StoreError as fault:  # a store that cannot be written is shown all the same
            log.warning("second factors are not encrypted: %s", fault)
        if config.demo and service.has_users():
            service.close()
            raise StoreError("People sign in to this store, so it cannot be shown as a demo.")
        return service

    @property
    def version(self) -> Version | None:
        """Which state of the store, on which day, is loaded; None: none yet."""
        return self._snapshots.version

    @property
    def is_behind(self) -> bool:
        """Whether newer rows are stored than pages show, and are being read."""
        return self._snapshots.is_behind

    def share(self, ask_for_renewal: Callable[[], None]) -> None:
        """From now on this process shares snapshots; it asks for the next one."""
        self._snapshots.ask_for_renewal = ask_for_renewal

    def close(self) -> None:
        """Close the store."""
        self.store.close()

    def has_users(self) -> bool:
        """Whether anybody can sign in."""
        return any(user.active for user in self.store.people.all())

    def _server(self, account: str) -> str:
        """Where a sign-in holds: at this server, and for one account of the machine."""
        return f"{self.config.server}, account {account}" if account else self.config.server

    def reader_of(self, token: str | None, account: str, *, uses: bool) -> Reader | None:
        """The person with this token; None: nobody. The demo signs in by itself."""
        if self.config.demo:
            return DEMO_READER
        if not token or token in self._ended:
            return None
        user = self.store.people.signed_in(
            token, self.config.clock(), uses=uses, server=self._server(account)
        )
        if user is None:
            return None
        sites = None if user.sites is None else frozenset(user.sites)
        return Reader(user.code, user.role, sites, user.families, user.caseload)

    def has_to_set_up(self, reader: Reader) -> bool:
        """Whether somebody has to set up two-step sign-in before anything else."""
        if self.config.demo or reader.role not in self.config.web.two_steps_for:
            return False
        return self.store.people.lacks_two_steps(reader.code)

    def sign_in_counts(self) -> tuple[int, int] | None:
        """Open sign-ins, and refused tries of the last day; None: the store cannot be read."""
        now = self.config.clock()
        try:
            people = self.store.people
            return len(people.open_sign_ins(now)), people.refused_tries(now)
        except StoreError:
            return None

    def sign_in(self, code: str, password: str, address: str, account: str) -> SignIn:
        """Try to sign in."""
        return self.store.people.sign_in(
            code, password, address, self.config.clock(), server=self._server(account)
        )

    def sign_in_with_code(self, code: str, typed: str, address: str, account: str) -> SignIn:
        """The second step of a person whose password was right a moment ago."""
        return self.store.people.sign_in_with_code(
            code, typed, address, self.config.clock(), server=self._server(account)
        )

    def sign_in_of_provider(self, who: Identity, access: Group, address: str, account: str) -> str:
        """Sign in somebody who comes by the hospital's sign-in; returns the token.

        Raises
        ------
        ProviderError
            The code is another account's, or the account was ended here.
        """
        person = ProviderUser(
            who.subject, who.code, access.role, access.sites or None, access.families
        )
        at, server = self.config.clock(), self._server(account)
        try:
            return self.store.people.sign_in_of_provider(person, address, at, server=server)
        except StoreError as fault:
            raise ProviderError(str(fault)) from None

    def sign_out(self, token: str) -> None:
        """End a sign-in, also where the store cannot record it."""
        try:
            self.store.people.sign_out(token, self.config.clock())
        except StoreError as fault:
            self._ended.add(token)
            log.warning("the end of a sign-in is not recorded: %s", fault)

    def note_refusal(self, reader: Reader, what: str) -> None:
        """Write to the access log that somebody asked for what the role does not include."""
        self.store.people.note(reader.code, Access.REFUSED, self.config.clock(), about=what)

    def session_of(self, reader: Reader) -> Session:
        """One request of one person."""
        return Session(self, reader)

    def now(self) -> datetime:
        """The present moment in the programme's zone; in the demo moved to its as-of day."""
        now = self.config.clock().astimezone(self.policy.zone)
        if self.config.demo and self.config.as_of is not None:
            return datetime.combine(self.config.as_of, now.timetz())
        return now

    def as_of(self) -> date:
        """The day that pages show."""
        return self.config.as_of or self.now().date()

    def snapshot(self, sites: frozenset[str] | None) -> Snapshot:
        """Everything about the lines of some sites on the day; None: of all."""
        return self.loaded(sites).snapshot

    def loaded(self, sites: frozenset[str] | None, *, fresh: bool = False) -> LoadedSnapshot:
        """The present snapshot of some sites, None: of all; `fresh` as in `SnapshotCache.get`."""
        return self._snapshots.get(self.as_of(), fresh=fresh).of(sites)
