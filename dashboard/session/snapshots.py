"""Which snapshot of the store does a request get, and who loads the next one?

A snapshot is loaded when the store or the day has changed. One thread loads it, holding no lock;
others go on with the present one meanwhile, unless it is of another day or they ask for what they
have just stored themselves. A process that shares its memory with others does not read everything
by itself: it goes on with the present snapshot and asks the program that forked it to read for all.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import date, datetime

from analysis.policy import Policy
from analysis.snapshot import of_sites, take
from analysis.store import Store
from dashboard.session.answers import AnswerCache
from dashboard.session.loaded import LoadedSnapshot
from dashboard.session.scope import acts_of

MOST_SCOPES = 8
RENEWAL_SECONDS = 600.0
"""A process that was not replaced by then reads everything by itself."""
Known = date | datetime | None
Version = tuple[int, date]
"""Number of the store's last change, and the day."""
Scope = frozenset[str] | None


class Generation:
    """The snapshot of one version of the store on one day, whole and narrowed to sites."""

    def __init__(
        self, version: Version, whole: LoadedSnapshot, before: dict[Scope, LoadedSnapshot]
    ) -> None:
        self.version = version
        self.whole = whole
        self._before = before
        self._narrowed = AnswerCache(MOST_SCOPES)

    def of(self, sites: Scope) -> LoadedSnapshot:
        """The families of some sites; None: all families."""
        if sites is None:
            return self.whole
        return self._narrowed.get(sites, lambda: self._narrow(sites))

    def _narrow(self, sites: frozenset[str]) -> LoadedSnapshot:
        before, snapshot = self._before.pop(sites, None), self.whole.snapshot
        if before is None:
            return LoadedSnapshot(of_sites(snapshot, sites))
        if before.snapshot.ingests is not snapshot.ingests:
            narrowed, changed = of_sites(snapshot, sites), snapshot.changed
            if changed is not None:
                narrowed = narrowed.following(before.snapshot, changed)
            return LoadedSnapshot(narrowed)
        records = snapshot.records
        return before.with_calls(
            acts_of(before.snapshot, records.calls), acts_of(before.snapshot, records.arrangements)
        )

    def made(self) -> dict[Scope, LoadedSnapshot]:
        """What has been narrowed of this very version, by sites."""
        made = self._narrowed.computed().items()
        return {k: v for k, v in made if isinstance(k, frozenset)}  # type: ignore[misc]

    def narrowed(self) -> dict[Scope, LoadedSnapshot]:
        """What has been narrowed so far, by sites."""
        made = self.made()
        scopes = [*self._before.items(), *made.items()][-MOST_SCOPES:]
        return dict(scopes)


class SnapshotCache:
    """The present snapshot of a store under a policy. Threads may share it."""

    def __init__(self, store: Store, policy: Policy, known_at: Known) -> None:
        self._store = store
        self._policy = policy
        self._known_at = known_at
        self._changed = threading.Condition()
        self._present: Generation | None = None
        self._loading = False
        self.ask_for_renewal: Callable[[], None] | None = None
        """Asks the program that forked this process for one that shares the next snapshot."""
        self._replaced_by = 0.0

    @property
    def version(self) -> Version | None:
        """What is present; None: nothing yet."""
        return None if self._present is None else self._present.version

    @property
    def is_behind(self) -> bool:
        """Whether the present snapshot goes on while a newer one is read for all processes."""
        return time.monotonic() < self._replaced_by

    def get(self, as_of: date, *, fresh: bool = False) -> Generation:
        """The snapshot of a day.

        Parameters
        ----------
        as_of : date
            The day.
        fresh : bool
            Wait for everything stored before this call, also while another thread loads. Without
            it the present snapshot of the day is given while another thread loads the next one.

        Raises
        ------
        StoreError
            The store cannot be read.
        """
        while True:
            version = (self._store.data_version(), as_of)
            with self._changed:
                present = self._present
                if present is not None and present.version == version:
                    return present
                renewed = self._loading or self.is_behind
                if renewed and present is not None and present.version[1] == as_of and not fresh:
                    return present
                if self._loading:
                    self._changed.wait()
                    continue
                self._loading = True
            return self._load(version, present, fresh=fresh)

    def _load(self, version: Version, present: Generation | None, *, fresh: bool) -> Generation:
        loaded = None
        try:
            loaded = self._next(version, present, fresh=fresh)
        finally:
            with self._changed:
                self._loading = False
                if loaded is not None:
                    self._present = loaded
                self._changed.notify_all()
        return loaded

    def _next(self, version: Version, present: Generation | None, *, fresh: bool) -> Generation:
        """Everything, or only what was stored since."""
        if present is not None and present.version[1] == version[1]:
            whole = present.whole.with_acts_of(self._store)
            if whole is not None:
                if whole.snapshot.ingests is present.whole.snapshot.ingests:
                    return Generation(version, whole, present.narrowed())
                followed = whole.snapshot.changed is not None
                return Generation(version, whole, present.made() if followed else {})
            if self.ask_for_renewal is not None and not fresh and not self._replaced_by:
                self._replaced_by = time.monotonic() + RENEWAL_SECONDS
                self.ask_for_renewal()
                return present
        if present is not None and self.ask_for_renewal is not None:
            self.ask_for_renewal()  # so that what is read here alone is soon shared
        self._replaced_by = 0.0
        whole = LoadedSnapshot(take(self._store, self._policy, version[1], self._known_at))
        return Generation(version, whole, {})
