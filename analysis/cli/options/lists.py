"""Options of the commands that list families and lines."""

from __future__ import annotations

from datetime import date, datetime
from enum import StrEnum
from pathlib import Path

from analysis.cli.options.declared import argument, command, option, options
from analysis.cli.options.shared import Partitioned, PolicyOption, Reading, StoreOption
from analysis.vocabulary import Band, CallOutcome, Grouping, Task


@options
class Chosen(Reading):
    """Which families."""

    site: str | None = option("Only families of this site.", metavar="SITE")
    nurse: str | None = option("Only families of this nurse.", metavar="NURSE")
    language: str | None = option("Only families called in this language.", metavar="LANGUAGE")


class ListedBand(StrEnum):
    """A band of the list; families that need no call are not on it."""

    SAME_DAY_REVIEW = str(Band.SAME_DAY_REVIEW)
    CALL_TODAY = str(Band.CALL_TODAY)
    CALL_THIS_WEEK = str(Band.CALL_THIS_WEEK)
    WAITING = str(Band.WAITING)
    SET_ASIDE = str(Band.SET_ASIDE)


@command("calls", "calling:calls")
class Calls(Chosen):
    """Which families to call, in calling order, and why; families called already come last."""

    band: ListedBand | None = option("Only families of this band.")


@command("calls done", "calling:done")
class CallsDone(Chosen):
    """Calls recorded on the day."""


@command("calls arranged", "calling:arranged")
class CallsArranged(Reading):
    """Who makes the next call to a family, and until when families are postponed."""


@command("calls record", "recording:record")
class CallsRecord(StoreOption, PolicyOption):
    """Record calls: all of a file in the form of the table of calls, or one by its options.

    Of a file all calls are recorded, or none and what to correct is shown.
    """

    file: Path | None = argument("Calls as a table (CSV, spreadsheet).", "FILE", default=None)
    family: str | None = option("Code of the family called.", metavar="FAMILY")
    by: str | None = option("Staff code of the person who called.", metavar="STAFF")
    outcome: CallOutcome | None = option("Whether the family was reached.")
    at: datetime | None = option("When the call was made [default: now].")
    agreed: str | None = option("What was agreed; no names or contact details.", metavar="TEXT")
    back_on: date | None = option(
        "Day from which the family is on the list again [default: by the policy]."
    )


@options
class OfTask(Reading):
    """A care task."""

    task: Task = option("Care task.", default=Task.DRESSING)


@command("lines", "reading:lines")
class Lines(OfTask, Partitioned):
    """One row per line: home line-days, in date or not, state on the day."""


@command("adherence", "reading:adherence_table")
class Adherence(OfTask, Partitioned):
    """How often care was on time and in date, with 95 % limits that resample families."""

    by: Grouping = option("How to split.", default=Grouping.ALL)
