"""What does the form for calls made from the printed list show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from dashboard.session.views import PageContext


@dataclass(frozen=True)
class SheetRow:
    """One family of the list, and what was typed in of its call."""

    family_id: str
    why: str
    typed: dict[str, str] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)
    """What is wrong, in a sentence, by field."""


@dataclass(frozen=True)
class Sheet:
    """The list of a day and nurse as a form, one row a family."""

    context: PageContext
    day: date
    days: tuple[date, ...]
    nurse: str | None
    nurses: tuple[str, ...]
    called_by: str
    callers: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    form: str
    """A code of this one form: sent twice, its calls are recorded once."""
    fault: str | None = None
    recorded: int | None = None
    """How many calls were recorded; None: nothing was sent."""
