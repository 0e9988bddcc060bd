"""What is being done about each signal, and is a new step valid?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC
from zoneinfo import ZoneInfo

from analysis.decisions.signal_work import STATES, WorkedSignal
from analysis.measures.surveillance import PROGRAMME
from analysis.verdicts import event_name, site_name
from analysis.vocabulary import SIGNAL_WORK, SignalState
from dashboard.layout import words
from dashboard.rates.queries.annotations import ALL_SITES
from dashboard.rates.views import Work, WorkNote
from dashboard.session.forms import Form, FormError

MOST_CHARACTERS = 500
LONGEST_OWNER = 40
STATES_TO_SET = tuple((str(state), STATES[state]) for state in SIGNAL_WORK)
FIRST_SEEN = "seen for the first time"
NEEDS_A_REASON = (SignalState.EXPLAINED, SignalState.CLOSED)


@dataclass(frozen=True)
class SignalForm(Form):
    """A step of the work as typed in."""

    event: object
    site: object
    state: object
    owner: object
    note: object


def site_of(signal: WorkedSignal) -> str:
    """Site of a signal as people's scopes name it."""
    site = signal.verdict.rate.site
    return ALL_SITES if site == PROGRAMME else site


def title_of(signal: WorkedSignal) -> str:
    """Event and site of a signal."""
    rate = signal.verdict.rate
    return f"{words.sentence(event_name(rate.event))[:-1]}, {site_name(rate)}"


def work_of(signal: WorkedSignal, zone: ZoneInfo, may_act: bool) -> Work:
    """A signal as the page shows it."""
    rate = signal.verdict.rate
    return Work(
        event=rate.event,
        site=rate.site,
        title=title_of(signal),
        short=words.sentence(signal.verdict.short),
        state=str(signal.state),
        state_name=STATES[signal.state],
        owner=signal.owner or "",
        is_open=signal.is_open,
        came_back=signal.came_back,
        notes=tuple(
            WorkNote(
                on=note.made_at.replace(tzinfo=UTC).astimezone(zone).date(),
                by=note.made_by,
                state=FIRST_SEEN if note.state is SignalState.NEW else STATES[note.state],
                owner=note.owner or "",
                note=note.note or "",
            )
            for note in signal.notes
        ),
        may_act=may_act,
    )


def asked_for(form: SignalForm, worked: tuple[WorkedSignal, ...]) -> WorkedSignal:
    """The signal that a form is about.

    Raises
    ------
    FormError
        There is no such signal.
    """
    for signal in worked:
        if (signal.verdict.rate.event, signal.verdict.rate.site) == (form.event, form.site):
            return signal
    raise FormError("This signal is not known. Reload the page.")


def checked(form: SignalForm) -> tuple[SignalState, str | None, str | None]:
    """State, owner and note of a step.

    Raises
    ------
    FormError
        No such state, too long a text, or a reason is missing.
    """
    if not isinstance(form.state, str) or form.state not in SIGNAL_WORK:
        raise FormError("Choose a state from the list.")
    state = SignalState(form.state)
    owner = _line(form.owner)
    note = _line(form.note)
    if len(owner) > LONGEST_OWNER:
        raise FormError(f"Shorten the staff code to {LONGEST_OWNER} characters.")
    if len(note) > MOST_CHARACTERS:
        raise FormError(f"Shorten the note to {MOST_CHARACTERS} characters.")
    if state in NEEDS_A_REASON and not note:
        raise FormError(f"Write why the signal is {STATES[state]}.")
    return state, owner or None, note or None


def _line(text: object) -> str:
    return " ".join(text.split()) if isinstance(text, str) else ""
