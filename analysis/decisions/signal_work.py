"""Which signals are open, who looks into each, and what was noted?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from analysis.measures.surveillance import PROGRAMME, Surveillance
from analysis.verdicts import Headline, SignalVerdict, event_name, place_name, signal_headline
from analysis.vocabulary import SignalState
from analysis.words import listed

GROWN = 1.0
"""A closed signal comes back when the logarithm of its statistic has grown by so much since: the
evidence is then e times as strong."""
STATES = {
    SignalState.NEW: "new",
    SignalState.BEING_LOOKED_INTO: "being looked into",
    SignalState.EXPLAINED: "explained",
    SignalState.CLOSED: "closed",
}


@dataclass(frozen=True)
class SignalNote:
    """A step of the work on a signal."""

    made_at: datetime
    """UTC, without an offset."""
    made_by: str
    state: SignalState
    owner: str | None
    note: str | None


@dataclass(frozen=True)
class WorkedSignal:
    """A signal with what is being done about it."""

    verdict: SignalVerdict
    """What is known of the rate now; a signal that no longer shows stays until it is closed."""
    state: SignalState
    owner: str | None
    came_back: bool
    """It was closed and has grown since."""
    notes: tuple[SignalNote, ...]
    """Oldest first."""

    @property
    def is_open(self) -> bool:
        """Somebody still has to look into it, or to close it."""
        return self.state is not SignalState.CLOSED

    @property
    def line(self) -> str:
        """In a few words, for a summary."""
        rate = self.verdict.rate
        by = (
            f" by {self.owner}"
            if self.owner and self.state is SignalState.BEING_LOOKED_INTO
            else ""
        )
        back = ", came back" if self.came_back else ""
        return f"{event_name(rate.event)} {place_name(rate)} ({self.verdict.short}; {STATES[self.state]}{by}{back})"


def worked_signals(headline: Headline, acts: pd.DataFrame) -> tuple[WorkedSignal, ...]:
    """Put verdicts and recorded work together.

    Parameters
    ----------
    headline : Headline
        Of `verdicts.signal_headline`.
    acts : DataFrame
        Work on signals as known at the same time: ``event``, ``site``, ``state``, ``owner``,
        ``note``, ``strength_thousandths``, ``made_by``, ``made_at``, in the order of writing.

    Returns
    -------
    tuple of WorkedSignal
        Signals, and rates that were worked on; open ones first, strongest first, then closed ones.

    *Source:* project definition, definitions §9.
    """
    by_signal = {
        (str(event), str(site)): rows
        for (event, site), rows in acts.groupby(["event", "site"], observed=True, sort=False)
    }
    found = []
    for verdict in headline.verdicts:
        rows = by_signal.get((verdict.rate.event, verdict.rate.site))
        if rows is None:
            if verdict.is_signal:
                found.append(
                    WorkedSignal(verdict, SignalState.NEW, None, came_back=False, notes=())
                )
            continue
        found.append(_worked(verdict, rows))
    return tuple(sorted(found, key=lambda signal: not signal.is_open))


@dataclass(frozen=True)
class Signals:
    """The verdict on everything that is followed, and the work on its signals."""

    headline: Headline
    """Names open signals only."""
    worked: tuple[WorkedSignal, ...]

    @property
    def states(self) -> dict[tuple[str, str], SignalState]:
        """State of each signal by event and site."""
        return {(s.verdict.rate.event, s.verdict.rate.site): s.state for s in self.worked}


def signals(found: Surveillance, acts: pd.DataFrame, *, some_sites: bool = False) -> Signals:
    """Verdicts and the work on them; see `worked_signals`.

    With `some_sites` the rate of all of them together is not the programme's, and neither is the
    work on that.
    """
    if some_sites:
        acts = acts[(acts["site"] != PROGRAMME).to_numpy(dtype=bool)]
    worked = worked_signals(signal_headline(found), acts)
    closed = {(s.verdict.rate.event, s.verdict.rate.site) for s in worked if not s.is_open}
    return Signals(signal_headline(found, closed), worked)


def signals_line(signals: tuple[WorkedSignal, ...]) -> str:
    """The open signals in one line, for a summary; empty without one."""
    named = [signal.line for signal in signals if signal.is_open]
    return f"Open signals: {listed(named)}." if named else ""


def _worked(verdict: SignalVerdict, rows: pd.DataFrame) -> WorkedSignal:
    notes = tuple(
        SignalNote(
            made_at=row["made_at"].to_pydatetime(),
            made_by=str(row["made_by"]),
            state=SignalState(str(row["state"])),
            owner=None if pd.isna(row["owner"]) else str(row["owner"]),
            note=None if pd.isna(row["note"]) else str(row["note"]),
        )
        for row in rows.to_dict("records")
    )
    last = notes[-1]
    strength = float(rows["strength_thousandths"].iloc[-1]) / 1000
    grown = verdict.is_signal and verdict.rate.strength >= strength + GROWN
    if last.state is SignalState.CLOSED and grown:
        return WorkedSignal(verdict, SignalState.NEW, None, came_back=True, notes=notes)
    return WorkedSignal(verdict, last.state, last.owner, came_back=False, notes=notes)
