"""Options of the commands on training sessions."""

from __future__ import annotations

from pathlib import Path

from analysis.cli.options.declared import argument, command
from analysis.cli.options.shared import PolicyOption, Reading, StoreOption


@command("sessions", "training_sessions:sessions")
class Sessions(Reading):
    """Training sessions: when, where, in which language, who is invited."""


@command("sessions attendance", "training_sessions:came")
class SessionAttendance(Reading):
    """Who was invited to each session, and how it went for those who came."""


@command("sessions plan", "training_sessions:plan")
class SessionsPlan(StoreOption, PolicyOption):
    """Plan the sessions of a CSV file, or change those whose number it names: all or none.

    Its columns are those of `linedays sessions`; held_on and caregiver_ids or family_ids are
    needed. A file of `linedays retraining sessions` can be used once it has a column held_on. To
    cancel a session, set its state to cancelled. Who came is ingested as sign-offs.
    """

    file: Path = argument("Sessions as a table (CSV).", "FILE")
