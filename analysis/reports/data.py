"""What is a report made from? Everything that the store is asked for is gathered here."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from analysis.decisions import CallList
from analysis.decisions.history import morning_of
from analysis.decisions.signal_work import Signals, signals
from analysis.measures.counts import MeasureError
from analysis.measures.surveillance import surveillance
from analysis.policy import Policy
from analysis.reports.period import Period
from analysis.snapshot import Snapshot, end_of_day, of_sites, take
from analysis.store import Store
from analysis.store.signal_acts import SIGNAL_ACTS
from analysis.tallies import Tallies, between
from analysis.vocabulary import Role


@dataclass(frozen=True)
class ReportData:
    """A period by what was received up to one moment, and each of its mornings likewise."""

    period: Period
    now: Snapshot
    """On the morning after the period."""
    mornings: Mapping[date, Snapshot]
    """Each of the period's mornings, by what was known before it began."""
    refused: pd.DataFrame | None
    """Refused rows that were still to be corrected, columns of `provenance.REFUSED`; None: not
    shown to this person."""
    sites: tuple[str, ...] | None = None
    """Only families of these sites are counted; None: all."""
    signal_acts: pd.DataFrame = field(default_factory=SIGNAL_ACTS.empty)
    """Work on signals as known, columns of `signal_acts.SIGNAL_ACTS`."""

    @cached_property
    def lists(self) -> dict[date, CallList]:
        """The call list of each of the mornings."""
        return {day: seen.calls for day, seen in self.mornings.items()}

    @cached_property
    def start(self) -> Snapshot:
        """The same rows on the period's first morning."""
        return replace(self.now, as_of=self.period.start)

    @cached_property
    def signals(self) -> Signals:
        """Has harm risen anywhere, by what was known, and what is being done about it?"""
        return signals(surveillance(self.now), self.signal_acts, some_sites=self.sites is not None)

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
    def received_on(self) -> date:
        """The day up to which received rows are included."""
        return self.now.known_at.astimezone(self.now.policy.zone).date()

    @property
    def received_by(self) -> str:
        """The moment up to which received rows are included, in words."""
        at = self.now.known_at
        policy = self.now.policy
        if at == end_of_day(self.received_on, policy):
            return f"end of {self.received_on.isoformat()}"
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

        Files enter by the SHA-256 of their bytes, so that their names and the order of import
        do not count.
        """
        records = self.now.records
        calls = records.calls.drop(columns="row").sort_values(["called_at", "family_id"])
        arranged = records.arrangements.drop(columns="row").sort_values(["made_at", "family_id"])
        behind = {
            "files": sorted(set(self._files)),
            "calls": calls.astype("string").fillna("").to_numpy(dtype=str).tolist(),
            "arrangements": arranged.astype("string").fillna("").to_numpy(dtype=str).tolist(),
            "signals": self.signal_acts.astype("string").fillna("").to_numpy(dtype=str).tolist(),
            "policy": _plain(self.now.policy),
            "known_at": self.now.known_at.isoformat(),
            "period": self.period.name,
        }
        if self.sites is not None:
            behind["sites"] = list(self.sites)
        text = json.dumps(behind, sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()

    @cached_property
    def _files(self) -> list[str]:
        """SHA-256 of the files received by then or with a row that is known.

        A report of some sites counts only those with a row of theirs.
        """
        found = [] if self.sites is not None else list(self.ingests["sha256"])
        for table, counts in self.now.ingests.groupby("table"):
            by_row = counts.sort_values("last_row")
            rows = getattr(self.now.counted_records, str(table))["row"].to_numpy(dtype=np.int64)
            at = np.searchsorted(by_row["last_row"].to_numpy(dtype=np.int64), rows)
            found += list(by_row["sha256"].to_numpy()[np.unique(at)])
        return found

    @property
    def n_files(self) -> int:
        """Different files behind what is known."""
        return len(set(self._files))


def _plain(value: Any) -> Any:
    """A policy as JSON, the same for any order of sets."""
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
    """Up to which moment rows are included: the end of the period's last day unless asked later.

    Raises
    ------
    MeasureError
        The day lies before the period's end: its last days would look silent.
    """
    if known_at is None or known_at == period.last:
        return morning_of(period.end, policy)
    if known_at < period.last:
        raise MeasureError(
            f"{known_at} is before the end of {period.name}, so its last days would look silent: "
            f"use --known-at {period.last} or later, or choose an earlier {period.kind}."
        )
    return end_of_day(known_at, policy)


def gather(
    store: Store,
    policy: Policy,
    period: Period,
    known_at: date | None,
    today: date,
    sites: Collection[str] | None = None,
    roles: Collection[Role] = tuple(Role),
) -> ReportData:
    """Read what the reports of a period are made from.

    Parameters
    ----------
    store : Store
        Read once for the period, and for the manager's report once for each of its mornings.
    policy : Policy
        Each day is judged by the edition in force on it.
    period : Period
        It has to be over.
    known_at : date or None
        See :func:`known_at_of`.
    today : date
        In the programme's zone.
    sites : collection of str or None
        Only the families of these sites; None: all. With sites, refused rows are not shown,
        because it is not known which site they belong to.
    roles : collection of Role
        For whose reports. The call lists of the period's mornings are in the manager's alone.

    Raises
    ------
    MeasureError
        The period is not over, or `known_at` lies before its end.
    """
    if today < period.end:
        raise MeasureError(
            f"{period.name} ends on {period.last}; choose a {period.kind} that is over, "
            f"such as {period.before().name}."
        )
    moment = known_at_of(period, policy, known_at)
    now = _seen(take(store, policy, period.end, moment), sites)
    mornings = {
        day: _seen(take(store, policy, day, morning_of(day, policy)), sites)
        for day in (period.mornings if Role.MANAGER in roles else ())
        if moment != morning_of(day, policy)
    }
    mornings.setdefault(period.end, now)
    refused = store.refused(moment) if sites is None else None
    return ReportData(
        period,
        now,
        mornings,
        refused,
        None if sites is None else tuple(sorted(sites)),
        store.signal_acts(moment),
    )


def _seen(found: Snapshot, sites: Collection[str] | None) -> Snapshot:
    return found if sites is None else of_sites(found, sites)
