"""What has changed of the rates: new signals, work of others on signals, more events, notes?"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from analysis.decisions.signal_work import STATES, SignalNote, Signals
from analysis.measures.surveillance import PROGRAMME
from analysis.verdicts import event_name
from dashboard.addresses.rates import RatesChoice, rates_address
from dashboard.changes.queries import State, changes_since
from dashboard.changes.views import Change, Changes, Kind
from dashboard.layout import words
from dashboard.rates.queries.work import title_of
from dashboard.rates.views import Annotation
from dashboard.session.session import Session

PAGE = "rates"


def changes_of_rates(
    session: Session, signals: Signals, notes: tuple[Annotation, ...], *, marks: bool = False
) -> Changes:
    """What changed since this person last opened the rates."""
    open_signals = {f"{s.verdict.rate.event}\t{s.verdict.rate.site}": s for s in signals.worked}
    counts = {
        v.rate.event: v.rate.baseline_events + v.rate.events
        for v in signals.headline.verdicts
        if v.rate.site == PROGRAMME
    }
    now: dict[str, Any] = {
        "signals": {name: 1 for name, s in open_signals.items() if s.is_open},
        "events": counts,
        "note": max((note.row for note in notes), default=0),
    }

    def compare(before: State) -> State:
        return before  # few names and numbers

    def kinds(before: State, since: datetime) -> list[Kind]:
        new = [
            s
            for name, s in open_signals.items()
            if name in now["signals"].keys() - before["signals"].keys()
        ]
        steps = [
            (signal, note)
            for signal in signals.worked
            for note in signal.notes
            if _is_later(note, since) and note.made_by != session.reader.code
        ]
        more = {e: n - before["events"].get(e, 0) for e, n in counts.items()}
        written = [n for n in notes if n.row > before["note"] and n.made_by != session.reader.code]
        return [
            Kind(
                words.counted(len(new), "new signal", "new signals"),
                tuple(
                    Change(title_of(s), _address(s.verdict.rate.event), s.verdict.short)
                    for s in new
                ),
                urgent=True,
            ),
            Kind(
                f"{words.counted(sum(n for n in more.values() if n > 0), 'event', 'events')} more",
                tuple(
                    Change(words.sentence(event_name(event))[:-1], _address(event), str(n))
                    for event, n in more.items()
                    if n > 0
                ),
            ),
            Kind(
                f"{words.counted(len(steps), 'step', 'steps')} of others on signals",
                tuple(
                    Change(title_of(signal), None, f"{note.made_by}: {STATES[note.state]}")
                    for signal, note in steps
                ),
            ),
            Kind(
                f"{words.counted(len(written), 'note', 'notes')} by others on the chart",
                tuple(
                    Change(f"{n.made_by}, {words.day_year(n.on)}:", None, n.text) for n in written
                ),
            ),
        ]

    return changes_since(session, PAGE, now, compare, kinds, marks=marks)


def _is_later(note: SignalNote, since: datetime) -> bool:
    return note.made_at.replace(tzinfo=UTC) > since


def _address(event: str) -> str:
    return rates_address(RatesChoice(event=event))
