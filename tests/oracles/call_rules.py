"""The call list read from definitions §7, one family and one reason at a time.

Slow and obvious on purpose, on top of the day-by-day reading of care: plain loops, nothing of
`analysis` but its words.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from analysis.vocabulary import EntryKind, State, Task
from tests.oracles.day_by_day import Entry, Interval, Line, Programme, moment_order

DAY = timedelta(days=1)
BANDS = ("same_day_review", "call_today", "call_this_week", "waiting", "set_aside")
TODAY = ("compromised", "overdue", "skin_event_open")
ROW_GAP = 3
"""Days with attempts at most this far apart are in a row."""


@dataclass(frozen=True)
class CallSettings:
    red_flags: frozenset[str]
    red_flag_days: int = 14
    overdue_call_days: int = 1
    skin_open_days: int = 3
    unknown_call_days: int = 3
    early_failures: int = 2
    early_failures_of: int = 8
    early_failure_share: float = 0.75
    late_pattern_share: float = 0.75
    late_pattern_of: int = 8
    late_pattern_min: int = 4
    kits_low: int = 2
    kits_count_valid_days: int = 31
    sign_off_recent_days: int = 30
    sign_off_valid_months: int = 12


@dataclass
class Listed:
    """One family of the list, with what its place depends on."""

    family_id: str
    reasons: set[tuple[str, str | None]] = field(default_factory=set)
    """Reason and line; no line: the whole family."""
    news: list[datetime] = field(default_factory=list)
    """When the rows were received that bring a waiting family back."""
    red_flags: set[tuple[str, date, str]] = field(default_factory=set)
    """Line, day and code."""
    days_overdue: int = 0
    silent_days: int = 0
    tried_on: date | None = None
    attempt_days: int = 0
    band: str = "no_call"
    recheck_on: date | None = None

    @property
    def codes(self) -> set[str]:
        return {reason for reason, _ in self.reasons}


def months_before(day: date, months: int) -> date:
    """The same day of an earlier month, or the last of that month."""
    month = day.year * 12 + day.month - 1 - months
    year, month = divmod(month, 12)
    first_of_next = date(year + (month == 11), 1 if month == 11 else month + 2, 1)
    return date(year, month + 1, min(day.day, (first_of_next - DAY).day))


class CallRules:
    """Families to call on the as-of day of a programme."""

    def __init__(self, programme: Programme, settings: CallSettings) -> None:
        self.programme, self.settings = programme, settings
        self.as_of = programme.as_of
        # The programme's zone is UTC in these histories.
        self.calls = [c for c in programme.history.calls if c.called_at.date() <= self.as_of]
        self.postponements = [
            p for p in programme.history.postponements if p.made_at.date() <= self.as_of
        ]
        self.sign_offs = programme.history.sign_offs

    def families(self) -> list[Listed]:
        """Every family with a reason, or waiting or postponed, in calling order."""
        ids = self.programme.families()
        ids |= {c.family_id for c in self.calls} | {p.family_id for p in self.postponements}
        listed = [self.family(family_id) for family_id in sorted(ids)]
        listed = [f for f in listed if f.band != "no_call"]
        return sorted(listed, key=self.place)

    def place(self, family: Listed) -> tuple:
        """What the order within a band depends on."""
        band = BANDS.index(family.band)
        if family.band == "same_day_review":
            newest = max(day for _, day, _ in family.red_flags)
            return (band, -newest.toordinal(), -len(family.red_flags), family.family_id)
        tried = family.tried_on == self.as_of
        back = family.recheck_on.toordinal() if family.recheck_on else 0
        return (
            band,
            back,
            tried,
            -family.days_overdue,
            -len(family.codes),
            -family.silent_days,
            family.family_id,
        )

    def family(self, family_id: str) -> Listed:
        found = Listed(family_id)
        at_home = [
            line
            for line in self.programme.lines.values()
            if self.now(line) == family_id and self.programme.at_home(line, self.as_of)
        ]
        if family_id in self.programme.families():
            found.silent_days = self.programme.silent_days(family_id, self.as_of)
        for line in at_home:
            self.dressing(found, line)
            self.other_tasks(found, line)
            self.entries(found, line)
        if at_home and self.programme.silent(family_id, self.as_of):
            found.reasons.add(("silent", None))
        if at_home and self.kits_short(family_id, at_home):
            found.reasons.add(("kits_short", None))
        self.attempts(found)
        self.give_band(found)
        return found

    def now(self, line: Line) -> str:
        """The family of a line on the as-of day."""
        return self.programme.held(line, self.as_of).family_id

    def family_of(self, entry: Entry) -> str:
        """An entry of a known line is of the family that the line has now."""
        line = self.programme.lines.get(entry.line_id)
        return self.now(line) if line else entry.family_id

    # -- reasons --------------------------------------------------------------------------

    def dressing(self, found: Listed, line: Line) -> None:
        """State of the dressing, and patterns of its intervals."""
        story = self.programme.task_story(line, Task.DRESSING)
        found.days_overdue = max(found.days_overdue, story.days_overdue)
        if story.state is State.COMPROMISED:
            found.reasons.add(("compromised", line.line_id))
            report = next(e for e in self.programme.entries if e.row == story.report_row)
            found.news.append(report.received_at)
        if story.state is State.OVERDUE and story.days_overdue >= self.settings.overdue_call_days:
            found.reasons.add(("overdue", line.line_id))
        if story.state is State.UNKNOWN:
            since = self.programme.unknown_since(line)
            if (self.as_of - since).days >= self.settings.unknown_call_days:
                found.reasons.add(("state_unknown", line.line_id))
        if self.early_failures(story.intervals):
            found.reasons.add(("early_failures", line.line_id))
        if self.late_pattern(story.intervals):
            found.reasons.add(("late_pattern", line.line_id))

    def early_failures(self, intervals: list[Interval]) -> bool:
        """Of the last home changes, how many ended a dressing reported early?"""
        failed = 0
        changes = [i for i in intervals if i.by_home][-self.settings.early_failures_of :]
        for change in changes:
            for before in intervals:
                ended = before.ended_by == "change" and before.end_on == change.start_on
                if not ended or before.reported_on is None or before.interval_days is None:
                    continue
                worn = (before.reported_on - before.start_on).days
                failed += worn < self.settings.early_failure_share * before.interval_days
        return failed >= self.settings.early_failures

    def late_pattern(self, intervals: list[Interval]) -> bool:
        """On-time share of the last scored intervals."""
        last = [i for i in intervals if i.scored][-self.settings.late_pattern_of :]
        if len(last) < self.settings.late_pattern_min:
            return False
        return sum(i.on_time for i in last) / len(last) < self.settings.late_pattern_share

    def other_tasks(self, found: Listed, line: Line) -> None:
        """One reason each, when overdue."""
        for task in self.programme.tasks_of(line):
            if task is not Task.DRESSING:
                story = self.programme.task_story(line, task)
                if story.state is State.OVERDUE:
                    found.reasons.add((f"overdue_{task}", line.line_id))

    def entries(self, found: Listed, line: Line) -> None:
        """Red flags, open skin findings and changes without a sign-off."""
        mine = [e for e in self.programme.entries if e.line_id == line.line_id]
        for entry in mine:
            flags = self.settings.red_flags.intersection(entry.findings or ())
            age = (self.as_of - entry.done_on).days
            if flags and age <= self.settings.red_flag_days and not self.answered(found, entry):
                found.reasons.add(("red_flag", line.line_id))
                found.red_flags |= {(line.line_id, entry.done_on, code) for code in flags}
        skin = [e for e in mine if self.skin_codes().intersection(e.findings or ())]
        if skin:
            newest = max(e.done_on for e in skin)
            cleared = any("none" in (e.findings or ()) and e.done_on > newest for e in mine)
            if (self.as_of - newest).days <= self.settings.skin_open_days and not cleared:
                found.reasons.add(("skin_event_open", line.line_id))
                found.news += [e.received_at for e in skin if e.done_on == newest]
        for entry in mine:
            is_change = entry.kind is EntryKind.DRESSING_CHANGE and entry.caregiver_id is not None
            recent = (self.as_of - entry.done_on).days <= self.settings.sign_off_recent_days
            if is_change and recent and not self.signed_off(entry):
                found.reasons.add(("no_sign_off", line.line_id))

    def skin_codes(self) -> frozenset[str]:
        return self.programme.edition(self.as_of).skin_codes

    def answered(self, found: Listed, entry: Entry) -> bool:
        """A call that reached the family answers what was received before it."""
        return any(
            c.reached and c.family_id == found.family_id and entry.received_at < c.called_at
            for c in self.calls
        )

    def signed_off(self, entry: Entry) -> bool:
        """The newest demonstration by the day of the change is independent and not too old."""
        shown = [
            s
            for s in self.sign_offs
            if s.caregiver_id == entry.caregiver_id
            and s.skill == "dressing_change"
            and s.signed_on <= entry.done_on
        ]
        if not shown:
            return False
        newest = max(shown, key=lambda s: (s.signed_on, s.row))
        oldest = months_before(entry.done_on, self.settings.sign_off_valid_months)
        return newest.outcome == "independent" and newest.signed_on >= oldest

    def kits_short(self, family_id: str, at_home: list[Line]) -> bool:
        """The last count less the changes since, while no delivery has come."""
        mine = [e for e in self.programme.entries if self.family_of(e) == family_id]
        counts = [e for e in mine if e.kits_left is not None]
        if not counts:
            return False
        last = max(counts, key=moment_order)
        every = [x.kit_delivery_days for x in at_home if x.kit_delivery_days is not None]
        valid = min(every) if every else self.settings.kits_count_valid_days
        if (self.as_of - last.done_on).days >= valid:
            return False
        used = set()
        for entry in mine:
            same_day = entry.done_on == last.done_on and None not in (entry.done_at, last.done_at)
            later = entry.done_on > last.done_on or (same_day and entry.done_at > last.done_at)
            if entry.kind is EntryKind.DRESSING_CHANGE and later:
                used.add((entry.line_id, entry.done_on))
        return max(last.kits_left - len(used), 0) < self.settings.kits_low

    # -- calls ----------------------------------------------------------------------------

    def attempts(self, found: Listed) -> None:
        """Days in a row with attempts only, since the family was last reached."""
        mine = [c for c in self.calls if c.family_id == found.family_id]
        reached = [c.called_at for c in mine if c.reached]
        days = sorted(
            {
                c.called_at.date()
                for c in mine
                if not c.reached and all(c.called_at > at for at in reached)
            }
        )
        if not days or (self.as_of - days[-1]).days > ROW_GAP:
            return
        found.tried_on, found.attempt_days = days[-1], 1
        for later, earlier in zip(days[::-1], days[::-1][1:], strict=False):
            if (later - earlier).days > ROW_GAP:
                break
            found.attempt_days += 1

    def give_band(self, found: Listed) -> None:
        """The band of the reasons, unless the family waits or is postponed."""
        codes = found.codes
        if "red_flag" in codes:
            found.band = "same_day_review"
            return
        if codes.intersection(TODAY):
            found.band = "call_today"
        elif codes:
            found.band = "call_this_week"
        acts = [
            (c.called_at, "waiting", c.row, c.recheck_on)
            for c in self.calls
            if c.family_id == found.family_id and c.reached
        ]
        acts += [
            (p.made_at, "set_aside", p.row, p.until_on)
            for p in self.postponements
            if p.family_id == found.family_id
        ]
        if not acts:
            return
        at, rest, _, until = max(acts, key=lambda a: (a[0], a[1] == "waiting", a[2]))
        if until > self.as_of and not any(received > at for received in found.news):
            found.band, found.recheck_on = rest, until
