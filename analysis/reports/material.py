"""What is a paper made from? Everything that the store is asked for is gathered here."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from analysis.decisions import CallList
from analysis.decisions.history import morning_of
from analysis.measures import MeasureError
from analysis.policy import Policy
from analysis.reports.period import Period
from analysis.snapshot import Snapshot, end_of_day, of_sites, take
from analysis.store import Store
from analysis.tallies import Tallies, between


@dataclass(frozen=True)
class Material:
    """A period as known at one time, and its mornings as each was known."""

    period: Period
    now: Snapshot
    """As of the morning after the period."""
    mornings: Mapping[date, Snapshot]
    """Each of the period's mornings, by what was known before it began."""
    refused: pd.DataFrame | None
    """Refused rows that waited to be mended, columns of `provenance.REFUSED`; None: not told to
    this person."""
    sites: tuple[str, ...] | None = None
    """The sites of whose families alone it is made; None: all."""

    @cached_property
    def lists(self) -> dict[date, CallList]:
        """The call list of each of the mornings."""
        return {day: seen.calls for day, seen in self.mornings.items()}

    @cached_property
    def start(self) -> Snapshot:
        """The same rows as of the period's first morning."""
        return replace(self.now, as_of=self.period.start)

    @cached_property
    def tallies(self) -> Tallies:
        """Counts of the period alone."""
        return between(self.now.tallies, self.start.tallies)

    @cached_property
    def tallies_before(self) -> Tallies:
        """Counts of the period before alone, by the same rows."""
        first = replace(self.now, as_of=self.period.before().start)
        return between(self.start.tallies, first.tallies)

    @property
    def known_on(self) -> date:
        """The day up to which rows received are known."""
        return self.now.known_at.astimezone(self.now.policy.zone).date()

    @property
    def known_by(self) -> str:
        """The moment up to which rows received are known, in words."""
        at = self.now.known_at
        policy = self.now.policy
        if at == end_of_day(self.known_on, policy):
            return f"end of {self.known_on.isoformat()}"
        return f"{at.astimezone(policy.zone):%Y-%m-%d %H:%M}"

    @cached_property
    def ingests(self) -> pd.DataFrame:
        """Ingests received by then; columns of `provenance.INGESTS`."""
        ingests = self.now.ingests
        at = pd.Timestamp(self.now.known_at).tz_localize(None)
        return ingests[(ingests["received_at"] <= at).to_numpy(dtype=bool)]

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over the files that gave what is known, the calls and arrangements known and the policy.

        Files are told by the SHA-256 of their bytes, so that names and the order in which
        they went in do not count.
        """
        records, order = self.now.records, ["made_at", "family_id"]
        calls = records.calls.drop(columns="row").sort_values(order)
        arranged = records.arrangements.drop(columns="row").sort_values(order)
        told = {
            "files": sorted(set(self._files)),
            "calls": calls.astype("string").fillna("").to_numpy(dtype=str).tolist(),
            "arrangements": arranged.astype("string").fillna("").to_numpy(dtype=str).tolist(),
            "policy": _plain(self.now.policy),
            "known_at": self.now.known_at.isoformat(),
            "period": self.period.name,
        }
        if self.sites is not None:
            told["sites"] = list(self.sites)
        text = json.dumps(told, sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()

    @cached_property
    def _files(self) -> list[str]:
        """SHA-256 of the files received by then or with a row that is known.

        Of a paper of some sites only those with a row of theirs: others tell of other sites.
        """
        found = [] if self.sites is not None else list(self.ingests["sha256"])
        for table, counts in self.now.ingests.groupby("table"):
            by_row = counts.sort_values("last_row")
            rows = getattr(self.now.records, str(table))["row"].to_numpy(dtype=np.int64)
            at = np.searchsorted(by_row["last_row"].to_numpy(dtype=np.int64), rows)
            found += list(by_row["sha256"].to_numpy()[np.unique(at)])
        return found

    @property
    def n_files(self) -> int:
        """Different files behind what is known."""
        return len(set(self._files))


def _plain(value: Any) -> Any:
    """A policy as JSON, the same whatever the order of sets."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict) or hasattr(value, "items"):
        return {str(k): _plain(v) for k, v in sorted(value.items())}
    if isinstance(value, set | frozenset):
        return sorted(str(v) for v in value)
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return value if value is None or isinstance(value, bool | int | float) else str(value)


def known_at_of(period: Period, policy: Policy, known_at: date | None) -> datetime:
    """Up to which moment rows are known: the end of the period's last day unless told later.

    Raises
    ------
    MeasureError
        The day told lies before the period's end: its last days would look silent.
    """
    if known_at is None or known_at == period.last:
        return morning_of(period.end, policy)
    if known_at < period.last:
        raise MeasureError(
            f"{known_at} lies before the end of {period.name}, so its last days would look "
            f"silent: let it be known at {period.last} or later, or take an earlier {period.kind}."
        )
    return end_of_day(known_at, policy)


def gather(
    store: Store,
    policy: Policy,
    period: Period,
    known_at: date | None,
    today: date,
    sites: Collection[str] | None = None,
) -> Material:
    """Read what the papers of a period are made from.

    Parameters
    ----------
    store : Store
        Read once for the period and once for each of its mornings.
    policy : Policy
        Its editions hold as they did.
    period : Period
        It has to be over.
    known_at : date or None
        See :func:`known_at_of`.
    today : date
        In the programme's zone.
    sites : collection of str or None
        The families of these sites alone; None: all. Refused rows are then not told, since it is
        not known whose they are.

    Raises
    ------
    MeasureError
        The period is not over, or `known_at` lies before its end.
    """
    if today < period.end:
        raise MeasureError(
            f"{period.name} is not over before {period.end - timedelta(days=1)} ends; give the "
            f"{period.kind} before, {period.before().name}."
        )
    moment = known_at_of(period, policy, known_at)
    now = _seen(take(store, policy, period.end, moment), sites)
    mornings = {
        day: _seen(take(store, policy, day, morning_of(day, policy)), sites)
        for day in period.mornings
        if moment != morning_of(day, policy)
    }
    mornings.setdefault(period.end, now)
    refused = store.refused(moment) if sites is None else None
    return Material(period, now, mornings, refused, None if sites is None else tuple(sorted(sites)))


def _seen(found: Snapshot, sites: Collection[str] | None) -> Snapshot:
    return found if sites is None else of_sites(found, sites)
