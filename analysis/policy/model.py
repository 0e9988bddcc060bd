"""What may a policy say, and which edition of it was in force on a day?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from analysis.vocabulary import DressingType, FindingMark, LineType, Task


@dataclass(frozen=True)
class IntervalRule:
    """How many days after a change the next one is due; `days` None: never due."""

    task: Task
    days: int | None
    source: str
    dressing_type: DressingType | None = None
    line_type: LineType | None = None


@dataclass(frozen=True)
class FindingCode:
    """A word for what was seen at the skin or the child, and what it counts as."""

    code: str
    label: str
    marks: frozenset[FindingMark]
    source: str


@dataclass(frozen=True)
class StepCode:
    """A step of the dressing or connector change, as named in self-checks."""

    code: str
    label: str
    source: str
    instruction: str | None = None
    """How it is done, for the hand-outs of training sessions; None: none is printed."""


def _number(meaning: str, unit: str, low: float, high: float) -> dict[str, str | float]:
    return {"meaning": meaning, "unit": unit, "low": low, "high": high}


@dataclass(frozen=True)
class Settings:
    """Numbers of a policy edition; each field's metadata holds meaning, unit and range."""

    grace_days: int = field(
        metadata=_number("days after the due date that still count as on time", "days", 0, 31)
    )
    connector_min_days: int = field(
        metadata=_number("a connector changed sooner gets a doubt", "days", 0, 31)
    )
    silent_after_days: int = field(
        metadata=_number("a family not heard from for longer is silent", "days", 1, 365)
    )
    coverage_floor: float = field(
        metadata=_number("log coverage below which a rate is shown but not judged", "share", 0, 1)
    )
    episode_gap_days: int = field(
        metadata=_number("findings this close belong to one skin event", "days", 0, 90)
    )
    infection_repeat_days: int = field(
        metadata=_number(
            "bloodstream infections of one child within this many days, the first day "
            "counted as 1, are one event",
            "days",
            1,
            90,
        )
    )
    age_band_starts: tuple[int, ...] = field(
        metadata=_number("first year of life of each age band", "years", 0, 120)
    )
    red_flag_days: int = field(metadata=_number("how long a red flag needs a call", "days", 0, 90))
    overdue_call_days: int = field(
        metadata=_number("days overdue from which a family is called", "days", 1, 31)
    )
    skin_open_days: int = field(
        metadata=_number("how long a skin finding stays open", "days", 0, 31)
    )
    unknown_call_days: int = field(
        metadata=_number("days at home with unknown state before a call", "days", 0, 31)
    )
    early_failures: int = field(
        metadata=_number("early failures that make a reason", "changes", 1, 50)
    )
    early_failures_of: int = field(
        metadata=_number("last home changes checked for early failures", "changes", 1, 50)
    )
    early_failure_share: float = field(
        metadata=_number("a failure before this share of the interval is early", "share", 0, 1)
    )
    late_pattern_share: float = field(
        metadata=_number("on-time share below which lateness is a pattern", "share", 0, 1)
    )
    late_pattern_of: int = field(
        metadata=_number("last scored intervals checked for lateness", "intervals", 1, 50)
    )
    late_pattern_min: int = field(
        metadata=_number("scored intervals needed to speak of a pattern", "intervals", 1, 50)
    )
    kits_low: int = field(metadata=_number("fewer kits left than this is short", "kits", 0, 100))
    kits_count_valid_days: int = field(
        metadata=_number(
            "days that a kit count is believed where no delivery interval is known", "days", 1, 365
        )
    )
    sign_off_recent_days: int = field(
        metadata=_number("changes checked for a missing sign-off", "days", 1, 365)
    )
    sign_off_valid_months: int = field(
        metadata=_number("how long a sign-off stays current", "months", 1, 120)
    )
    retraining_window_months: int = field(
        metadata=_number("how far back evidence for retraining is recent", "months", 1, 120)
    )
    calls_a_day: int = field(
        metadata=_number("calls that a nurse can make in a day", "calls", 1, 1_000)
    )
    attempts_before_escalation: int = field(
        metadata=_number(
            "days in a row with calls but no answer before another way is asked for", "days", 1, 31
        )
    )
    recheck_days: int = field(
        metadata=_number("days until a called family is back on the list", "days", 0, 60)
    )


SETTING_FIELDS = {f.name: f for f in fields(Settings)}


@dataclass(frozen=True)
class Edition:
    """A policy as it holds from one day on."""

    version: str
    effective_from: date
    settings: Settings
    setting_sources: Mapping[str, str]
    intervals: tuple[IntervalRule, ...]
    findings: Mapping[str, FindingCode]
    steps: Mapping[str, StepCode]

    def interval_days(
        self, task: Task, dressing_type: DressingType | None, line_type: LineType | None
    ) -> int | None:
        """Days from a change to the next due date; None when never due by the calendar.

        The most specific rule wins: task + dressing + line, then task + dressing, then
        task + line, then task. *Source:* project definition, definitions §3.
        """
        wanted = (
            (dressing_type, line_type),
            (dressing_type, None),
            (None, line_type),
            (None, None),
        )
        for dressing, line in wanted:
            for rule in self.intervals:
                if (rule.task, rule.dressing_type, rule.line_type) == (task, dressing, line):
                    return rule.days
        return None

    def codes_marked(self, mark: FindingMark) -> frozenset[str]:
        """Finding codes that count as `mark`."""
        return frozenset(c for c, f in self.findings.items() if mark in f.marks)


@dataclass(frozen=True)
class Policy:
    """All editions of a policy, oldest first; the first holds for every earlier day."""

    name: str
    time_zone: str
    editions: tuple[Edition, ...]
    order_file: Path | None = None
    """File of orders fitted to past mornings; None: the rule order."""
    retention_years: int | None = None
    """Years after a family's last day for which its records are kept; None: no rule."""

    @property
    def zone(self) -> ZoneInfo:
        """The programme's own time zone."""
        return ZoneInfo(self.time_zone)

    def on(self, day: date) -> Edition:
        """The edition in force on a day (the first one for days before all editions)."""
        in_force = [e for e in self.editions if e.effective_from <= day]
        return in_force[-1] if in_force else self.editions[0]
