"""The timeline once more, read from definitions.md one day and one line at a time.

Slow and obvious on purpose: plain dates, plain loops, no frame, nothing of `analysis` but
its words. Each step names the section of the definitions it follows.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from analysis.vocabulary import (
    COMPROMISED_WORDS,
    DressingType,
    EntryKind,
    LineType,
    OutcomeKind,
    State,
    Task,
)

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Version:
    """What an earlier version of a line's row said of what may change (section 2)."""

    received_at: datetime
    valid_from: date | None
    family_id: str
    dressing_type: DressingType
    change_every_days: int | None
    flush_every_days: int | None
    site: str
    nurse: str | None


@dataclass(frozen=True)
class Line:
    line_id: str
    child_id: str
    family_id: str
    line_type: LineType
    dressing_type: DressingType
    placed_on: date
    home_from: date
    removed_on: date | None = None
    left_on: date | None = None
    change_every_days: int | None = None
    flush_every_days: int | None = None
    dressing_on: date | None = None
    born: date | None = None
    kit_delivery_days: int | None = None
    site: str = "north"
    nurse: str | None = None
    valid_from: date | None = None
    received_at: datetime = datetime(2031, 6, 1)  # noqa: DTZ001 - UTC, as stored
    earlier: tuple[Version, ...] = ()
    """Versions that this row replaced, in order of receipt."""


@dataclass(frozen=True)
class Stay:
    child_id: str
    from_on: date
    to_on: date | None = None
    dressing_on: date | None = None


@dataclass(frozen=True)
class Entry:
    row: int
    line_id: str
    family_id: str
    done_on: date
    kind: EntryKind
    done_at: datetime | None = None
    change_reason: str | None = None
    dressing_type: DressingType | None = None
    dressing_condition: str | None = None
    findings: tuple[str, ...] | None = None
    caregiver_id: str | None = None
    kits_left: int | None = None
    received_at: datetime = datetime(2031, 6, 1)  # noqa: DTZ001 - UTC, as stored


@dataclass(frozen=True)
class Outcome:
    row: int
    child_id: str
    line_id: str
    outcome: OutcomeKind
    onset_on: date


@dataclass(frozen=True)
class Call:
    row: int
    family_id: str
    called_at: datetime
    reached: bool
    recheck_on: date


@dataclass(frozen=True)
class Postponement:
    row: int
    family_id: str
    made_at: datetime
    until_on: date


@dataclass(frozen=True)
class SignOff:
    row: int
    caregiver_id: str
    skill: str
    signed_on: date
    outcome: str


@dataclass(frozen=True)
class History:
    lines: tuple[Line, ...] = ()
    stays: tuple[Stay, ...] = ()
    entries: tuple[Entry, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    calls: tuple[Call, ...] = ()
    postponements: tuple[Postponement, ...] = ()
    sign_offs: tuple[SignOff, ...] = ()


@dataclass(frozen=True)
class PlainEdition:
    effective_from: date
    interval_days: Callable[[Task, DressingType, LineType], int | None]
    skin_codes: frozenset[str]
    finding_codes: tuple[str, ...]
    grace_days: int = 0
    silent_after_days: int = 8
    episode_gap_days: int = 7
    infection_repeat_days: int = 14
    age_band_starts: tuple[int, ...] = (0, 1, 5, 12, 18)


@dataclass
class Interval:
    """From one change to what ended it (section 3)."""

    start_on: date
    row: int
    by_home: bool
    dressing_type: DressingType
    interval_days: int | None
    home_on: date
    due_on: date | None
    allowed_until: date | None
    last_at: datetime | None
    reported_on: date | None = None
    report_row: int = -1
    end_on: date | None = None
    end_row: int = -1
    ended_by: str = ""
    scored: bool = False
    on_time: bool = False
    late_days: int = 0
    in_date_days: int = 0
    out_of_date_days: int = 0


@dataclass
class TaskStory:
    """What a task of a line comes to as of a day."""

    intervals: list[Interval] = field(default_factory=list)
    classes: dict[date, str] = field(default_factory=dict)
    """Class of each home line-day."""
    dressing_on_day: dict[date, DressingType] = field(default_factory=dict)
    state: State = State.UNKNOWN
    last_change_on: date | None = None
    change_row: int = -1
    allowed_until: date | None = None
    days_overdue: int = 0
    report_row: int = -1


@dataclass(frozen=True)
class Event:
    line_id: str
    kind: str
    onset_on: date
    last_on: date
    findings: int
    onset_row: int
    last_row: int
    at_home: bool


def moment_order(entry: Entry) -> tuple:
    """Entries go by date, then those without a moment, then by moment, then by row."""
    return (entry.done_on, entry.done_at is not None, entry.done_at or 0, entry.row)


class Programme:
    """All that can be told of a history as of one day; every answer is worked out anew."""

    def __init__(self, history: History, editions: Sequence[PlainEdition], as_of: date) -> None:
        # Section 2: dates are cut after the versions were chosen.
        self.history = history
        self.as_of = as_of
        self.editions = editions
        self.lines = {
            line.line_id: replace(
                line,
                removed_on=self._known(line.removed_on),
                left_on=self._known(line.left_on),
                dressing_on=self._known(line.dressing_on),
            )
            for line in history.lines
            if line.placed_on <= as_of
        }
        self.stays = [
            replace(s, to_on=self._known(s.to_on), dressing_on=self._known(s.dressing_on))
            for s in history.stays
            if s.from_on <= as_of
        ]
        self.entries = [e for e in history.entries if e.done_on <= as_of]
        self.of_line: dict[str, list[Entry]] = {line_id: [] for line_id in self.lines}
        for entry in sorted(self.entries, key=moment_order):
            self.of_line.setdefault(entry.line_id, []).append(entry)
        self.outcomes = [o for o in history.outcomes if o.onset_on <= as_of]
        days = [as_of]
        for line in self.lines.values():
            days += [line.placed_on, line.home_from, line.dressing_on or as_of]
        for stay in self.stays:
            days += [stay.from_on, stay.dressing_on or as_of]
        days += [e.done_on for e in self.entries] + [o.onset_on for o in self.outcomes]
        self.first_day = min(days)

    def _known(self, day: date | None) -> date | None:
        return day if day is not None and day <= self.as_of else None

    # -- section 2: which version of the line's row holds on a day ------------------------

    def held(self, line: Line, day: date) -> Line | Version:
        """The version received last of those that hold by the day; the first from the start.

        What holds on the day of placement holds for the days before it too.
        """
        first, *later = [*line.earlier, line]
        found = first
        for version in later:
            if (version.valid_from or version.received_at.date()) <= max(day, line.placed_on):
                found = version
        return found

    def families(self) -> set[str]:
        """Every family that a line was with on some day up to the as-of day."""
        return {
            self.held(line, day).family_id
            for line in self.lines.values()
            for day in self.all_days()
        }

    def edition(self, day: date) -> PlainEdition:
        """The edition in force on a day; the first one for all earlier days."""
        found = self.editions[0]
        for edition in self.editions:
            if edition.effective_from <= day:
                found = edition
        return found

    def all_days(self) -> list[date]:
        """Every day up to and with the as-of day."""
        n = (self.as_of - self.first_day).days
        return [self.first_day + i * DAY for i in range(n + 1)]

    # -- section 1: where is the child, is the line in place --------------------------

    def away(self, line: Line, day: date) -> bool:
        """The child does not sleep at home in the night that ends the day, for a stay."""
        for stay in self.stays:
            begun = stay.child_id == line.child_id and stay.from_on <= day
            if begun and (stay.to_on is None or day < stay.to_on):
                return True
        return False

    def child_home(self, line: Line, day: date) -> bool:
        """The child has come home with the line and is not away."""
        return line.home_from <= day and not self.away(line, day)

    def end_of(self, line: Line) -> tuple[date | None, str]:
        """Day and kind of the end of the line; removal first when both fall on one day."""
        ends = []
        if line.removed_on is not None:
            ends.append((line.removed_on, 0, "removal"))
        if line.left_on is not None:
            ends.append((line.left_on, 1, "leaving"))
        if not ends:
            return None, ""
        first = min(ends)
        return first[0], first[2]

    def in_place(self, line: Line, day: date) -> bool:
        """The line has not been removed and has not left by the end of the day."""
        end, _ = self.end_of(line)
        return end is None or day < end

    def at_home(self, line: Line, day: date) -> bool:
        """In place and at home: a home line-day if the day is before the as-of day."""
        return self.child_home(line, day) and self.in_place(line, day)

    def home_line_days(self, line: Line) -> list[date]:
        """All home line-days: ``d < A``."""
        return [d for d in self.all_days() if d < self.as_of and self.at_home(line, d)]

    def home_periods(self, line: Line) -> list[tuple[date, date, str]]:
        """Runs of home line-days and what ended them."""
        spells = []
        days = self.home_line_days(line)
        for day in days:
            if spells and spells[-1][1] == day:
                spells[-1] = (spells[-1][0], day + DAY)
            else:
                spells.append((day, day + DAY))
        told = []
        for start, end in spells:
            line_end, how = self.end_of(line)
            if end == line_end:
                told.append((start, end, how))
            elif self.away(line, end):
                told.append((start, end, "admission"))
            else:
                told.append((start, end, "as_of"))
        return told

    # -- section 3: ports ---------------------------------------------------------------

    def port_accessed(self, line: Line, day: date) -> bool:
        """By the last port entry up to the day (of one date: the last by moment, then row)."""
        accessed = False
        for entry in self.in_order(line, (EntryKind.PORT_ACCESSED, EntryKind.PORT_DEACCESSED)):
            if entry.done_on <= day:
                accessed = entry.kind is EntryKind.PORT_ACCESSED
        return accessed

    def in_order(self, line: Line, kinds: Sequence[EntryKind]) -> list[Entry]:
        """Entries of a line for care, in order of date, moment (none first) and row.

        Those dated on or after the end of the line are ignored for care.
        """
        return [
            e
            for e in self.of_line[line.line_id]
            if e.kind in kinds and self.in_place(line, e.done_on)
        ]

    # -- section 3: one task of one line ------------------------------------------------

    def task_story(self, line: Line, task: Task) -> TaskStory:
        """Walk through the days of a line once."""
        story = TaskStory()
        is_port = line.line_type is LineType.IMPLANTED_PORT
        needs_access = is_port and task in (Task.DRESSING, Task.NEEDLE)
        line_end, end_kind = self.end_of(line)
        current: Interval | None = None
        away_before = False
        for day in self.all_days():
            if day == line_end and current is not None:
                self.close(story, current, day, end_kind, -1)
                current = None
            if line_end is not None and day >= line_end:
                story.dressing_on_day[day] = self.held(line, day).dressing_type
                continue
            # A stay that starts cuts the interval; stays that touch or overlap are one.
            away = self.away(line, day)
            if away and not away_before and current is not None:
                self.close(story, current, day, "admission", -1)
                current = None
            away_before = away
            # What was found on the dressing in place, before it was changed or taken off.
            changes, unlogged = self.changes_on(line, task, day)
            accessed = not needs_access or self.port_accessed(line, day)
            if not accessed:
                changes, unlogged = [], False
            old_reports, new_reports = [], []
            if task is Task.DRESSING:
                old_reports, new_reports = self.reports_on(line, day, changes, unlogged)
            if current is not None:
                self.report(current, day, old_reports)
            # De-access cuts as an admission does.
            if not accessed and current is not None:
                self.close(story, current, day, "deaccess", -1)
                current = None
            if changes or unlogged:
                fresh = self.begin(line, task, day, changes)
                if current is not None:
                    kind = "change" if fresh.by_home else "clinic_change"
                    self.close(story, current, day, kind, fresh.row)
                current = fresh
                story.last_change_on, story.change_row = day, fresh.row
                self.report(current, day, new_reports)
            story.dressing_on_day[day] = (
                self.held(line, day).dressing_type if current is None else current.dressing_type
            )
            if day < self.as_of and self.at_home(line, day):
                story.classes[day] = self.class_of(current, accessed, day)
        in_force = current
        if current is not None:
            self.close(story, current, self.as_of, "as_of", -1)
        self.tell_state(story, line, in_force, needs_access)
        return story

    def changes_on(self, line: Line, task: Task, day: date) -> tuple[list[Entry], bool]:
        """Logged changes of a task on a day in order, and whether the clinic noted one."""
        kinds = {
            Task.DRESSING: [EntryKind.DRESSING_CHANGE],
            Task.CONNECTOR: [EntryKind.CONNECTOR_CHANGE],
            Task.NEEDLE: [EntryKind.NEEDLE_CHANGE],
            Task.FLUSH: [EntryKind.FLUSH],
        }[task]
        if line.line_type is LineType.IMPLANTED_PORT and task in (Task.DRESSING, Task.NEEDLE):
            kinds = [*kinds, EntryKind.PORT_ACCESSED]
        logged = [e for e in self.in_order(line, kinds) if e.done_on == day]
        noted = task is Task.DRESSING and (
            line.dressing_on == day
            or any(
                s.child_id == line.child_id and s.dressing_on == day >= line.placed_on
                for s in self.stays
            )
        )
        return logged, noted

    def begin(self, line: Line, task: Task, day: date, changes: list[Entry]) -> Interval:
        """The interval that the change of a day starts."""
        held = self.held(line, day)
        dressing = held.dressing_type
        for entry in changes:
            dressing = entry.dressing_type or dressing
        edition = self.edition(day)
        order = {Task.DRESSING: held.change_every_days, Task.FLUSH: held.flush_every_days}
        days = order.get(task)
        if days is None:
            days = edition.interval_days(task, dressing, line.line_type)
        # For a clinic's change u is at least the day the child comes home.
        home_on = day
        while not self.child_home(line, home_on):
            home_on += DAY
            if home_on > self.as_of:
                home_on = max(self.as_of + DAY, line.home_from)
                break
        due_on = until = None
        if days is not None:
            due_on = day + days * DAY
            until = max(due_on + edition.grace_days * DAY, home_on)
        return Interval(
            start_on=day,
            row=changes[-1].row if changes else -1,
            by_home=bool(changes) and self.child_home(line, day),
            dressing_type=dressing,
            interval_days=days,
            home_on=home_on,
            due_on=due_on,
            allowed_until=until,
            last_at=changes[-1].done_at if changes else None,
        )

    def reports_on(
        self, line: Line, day: date, changes: list[Entry], unlogged: bool
    ) -> tuple[list[Entry], list[Entry]]:
        """Entries at home on a day of a compromised dressing: of the old one, of the new one."""
        if not self.at_home(line, day):
            return [], []
        old, new = [], []
        for entry in self.in_order(line, list(EntryKind)):
            if entry.done_on != day:
                continue
            found = entry.dressing_condition in COMPROMISED_WORDS
            if entry.kind is EntryKind.DRESSING_CHANGE:
                found = found or entry.change_reason in COMPROMISED_WORDS
            if not found:
                continue
            last_at = changes[-1].done_at if changes else None
            both_timed = entry.done_at is not None and last_at is not None
            if (changes or unlogged) and both_timed and entry.done_at > last_at:
                new.append(entry)
            else:
                old.append(entry)
        return old, new

    def report(self, interval: Interval, day: date, reports: list[Entry]) -> None:
        """A report pulls u forward to its day: ``min(u, p)``."""
        if not reports or interval.reported_on is not None:
            return
        interval.reported_on, interval.report_row = day, reports[0].row
        if interval.allowed_until is None or day < interval.allowed_until:
            interval.allowed_until = day

    def class_of(self, current: Interval | None, accessed: bool, day: date) -> str:
        """Class of a home line-day; intervals never due are unscored up to a report."""
        if not accessed:
            return "not_accessed"
        if current is None:
            return "unscored"
        until = current.allowed_until
        if current.interval_days is None and (until is None or day < until):
            return "unscored"
        assert until is not None
        if day < until:
            current.in_date_days += 1
            return "in_date"
        current.out_of_date_days += 1
        return "out_of_date"

    def close(
        self, story: TaskStory, interval: Interval, day: date, ended_by: str, row: int
    ) -> None:
        """End an interval and judge it."""
        interval.end_on, interval.ended_by, interval.end_row = day, ended_by, row
        story.intervals.append(interval)
        until = interval.allowed_until
        if interval.interval_days is None or ended_by == "clinic_change":
            return
        assert until is not None
        if ended_by == "change":
            interval.scored, interval.on_time = True, day <= until
        else:  # cut, or still open: late if after u, else not scored
            interval.scored = day > until
        if interval.scored and not interval.on_time:
            interval.late_days = (day - until).days

    def tell_state(
        self, story: TaskStory, line: Line, in_force: Interval | None, needs_access: bool
    ) -> None:
        """State at A: the first that applies."""
        until = in_force.allowed_until if in_force else None
        if not self.in_place(line, self.as_of):
            story.state = State.ENDED
            return
        if not self.child_home(line, self.as_of):
            story.state = State.NOT_AT_HOME
            return
        story.allowed_until = until
        if needs_access and not self.port_accessed(line, self.as_of):
            story.state = State.NOT_ACCESSED
        elif in_force is None:
            story.state = State.UNKNOWN
        elif in_force.reported_on is not None:
            assert until is not None
            story.state = State.COMPROMISED
            story.days_overdue = (self.as_of - until).days
            story.report_row = in_force.report_row
        elif until is None or self.as_of < until:
            story.state = State.IN_DATE
        elif self.as_of == until:
            story.state = State.DUE_TODAY
        else:
            story.state = State.OVERDUE
            story.days_overdue = (self.as_of - until).days

    def tasks_of(self, line: Line) -> list[Task]:
        """Only a port has a needle."""
        is_port = line.line_type is LineType.IMPLANTED_PORT
        return [t for t in Task if t is not Task.NEEDLE or is_port]

    def unknown_since(self, line: Line) -> date:
        """`home_from` or the end of the last stay."""
        since = line.home_from
        for day in self.all_days():
            if day > since and self.away(line, day - DAY) and not self.away(line, day):
                since = day
        return since

    # -- section 4: silence -----------------------------------------------------------------

    def family_of(self, entry: Entry) -> str:
        """An entry is its line's family's; of an unknown line, the family it names."""
        line = self.lines.get(entry.line_id)
        return self.held(line, entry.done_on).family_id if line else entry.family_id

    def last_heard(self, family_id: str, day: date) -> Entry | None:
        """The newest entry dated up to a day."""
        mine = [e for e in self.entries if self.family_of(e) == family_id and e.done_on <= day]
        return max(mine, key=moment_order, default=None)

    def family_home(self, family_id: str, day: date) -> bool:
        """The family has a line at home on a day."""
        return any(
            self.held(line, day).family_id == family_id and self.at_home(line, day)
            for line in self.lines.values()
        )

    def home_since(self, family_id: str, day: date) -> date | None:
        """The first day from which, up to a day, a line was at home without a break."""
        if not self.family_home(family_id, day):
            return None
        since = day
        while since > self.first_day and self.family_home(family_id, since - DAY):
            since -= DAY
        return since

    def silent_days(self, family_id: str, day: date) -> int:
        """Days since the later of last heard and the first day of the present time at home."""
        heard = self.last_heard(family_id, day)
        since = self.home_since(family_id, day)
        days = [d for d in (heard and heard.done_on, since) if d is not None]
        return (day - max(days)).days if days else 0

    def silent(self, family_id: str, day: date) -> bool:
        """At home, and silent for more days than the edition of the day allows."""
        if not self.family_home(family_id, day):
            return False
        return self.silent_days(family_id, day) > self.edition(day).silent_after_days

    # -- section 5: events ------------------------------------------------------------------

    def attributed(self, line: Line, onset: date) -> bool:
        """Onset on a home line-day, or on the day a home spell ends.

        On the as-of day, which no rate counts yet, by where the child is.
        """
        if onset < self.as_of and self.at_home(line, onset):
            return True
        if onset == self.as_of and self.at_home(line, onset):
            return True
        return any(end == onset and how != "as_of" for _, end, how in self.home_periods(line))

    def finding_events(self, line: Line, codes: frozenset[str], kind: str) -> list[Event]:
        """Findings no further than the gap from the one before are one event."""
        gap = self.edition(self.as_of).episode_gap_days
        mine = [e for e in self.of_line[line.line_id] if codes.intersection(e.findings or ())]
        groups: list[list[Entry]] = []
        for entry in mine:
            if groups and (entry.done_on - groups[-1][-1].done_on).days <= gap:
                groups[-1].append(entry)
            else:
                groups.append([entry])
        return [
            Event(
                line.line_id,
                kind,
                g[0].done_on,
                g[-1].done_on,
                len(g),
                g[0].row,
                g[-1].row,
                self.attributed(line, g[0].done_on),
            )
            for g in groups
        ]

    def outcome_events(self) -> list[tuple[str, OutcomeKind, date, int, bool]]:
        """Confirmed harms; repeats of a child's bloodstream infection are one event."""
        repeat = self.edition(self.as_of).infection_repeat_days
        events = []
        first_of_child: dict[str, date] = {}
        for outcome in sorted(self.outcomes, key=lambda o: (o.onset_on, o.row)):
            line = self.lines.get(outcome.line_id)
            if line is None:
                continue
            if outcome.outcome is OutcomeKind.BLOODSTREAM_INFECTION:
                first = first_of_child.get(line.child_id)
                # event day = day 1, so the last day of 14 is first + 13
                if first is not None and (outcome.onset_on - first).days + 1 <= repeat:
                    continue
                first_of_child[line.child_id] = outcome.onset_on
            events.append(
                (
                    line.line_id,
                    outcome.outcome,
                    outcome.onset_on,
                    outcome.row,
                    self.attributed(line, outcome.onset_on),
                )
            )
        return events

    # -- sums by line, task, month, dressing type and age band ------------------------------

    def age_band(self, line: Line, day: date) -> str | None:
        """Whole years, from the month of birth."""
        if line.born is None:
            return None
        years = day.year - line.born.year - (1 if day.month < line.born.month else 0)
        starts = self.edition(self.as_of).age_band_starts
        nth = max([i for i, s in enumerate(starts) if s <= years], default=0)
        if nth + 1 == len(starts):
            return f"{starts[nth]}+"
        last = starts[nth + 1] - 1
        return str(last) if last == starts[nth] else f"{starts[nth]}-{last}"

    def child_owner(self, line: Line, day: date) -> bool:
        """The child's day belongs to its line placed first of those at home."""
        at_home = [
            x for x in self.lines.values() if x.child_id == line.child_id and self.at_home(x, day)
        ]
        return min(at_home, key=lambda x: (x.placed_on, x.line_id)) is line

    def tallies(self) -> tuple[dict[tuple, Counter], dict[tuple, Counter]]:
        """Counts of days and intervals, and of events, each by their keys."""
        days: dict[tuple, Counter] = {}
        events: dict[tuple, Counter] = {}
        for line in self.lines.values():
            worn = self.task_story(line, Task.DRESSING).dressing_on_day

            def place(day: date, line: Line = line, worn: dict = worn) -> tuple:
                held = self.held(line, day)
                holder = (held.family_id, held.site, held.nurse)
                return (*holder, day.replace(day=1), worn[day], self.age_band(line, day))

            home_days = self.home_line_days(line)
            owned = {d for d in home_days if self.child_owner(line, d)}
            heard = {d for d in home_days if not self.silent(self.held(line, d).family_id, d)}
            for task in self.tasks_of(line):
                story = self.task_story(line, task)
                for day in home_days:
                    row = days.setdefault((line.line_id, task, *place(day)), Counter())
                    row["home_line_days"] += 1
                    row["child_days"] += day in owned
                    row["heard_days"] += day in heard
                    row["heard_child_days"] += day in heard and day in owned
                    row[story.classes[day] + "_days"] += 1
                for interval in story.intervals:
                    if interval.scored:
                        last = interval.end_on - DAY
                        row = days.setdefault((line.line_id, task, *place(last)), Counter())
                        row["intervals_scored"] += 1
                        row["intervals_on_time"] += interval.on_time
            edition = self.edition(self.as_of)
            found = [(e.kind, e.onset_on, e.at_home) for e in self.skin_events(line)]
            for code in edition.finding_codes:
                found += [
                    (e.kind, e.onset_on, e.at_home)
                    for e in self.finding_events(line, frozenset([code]), code)
                ]
            found += [
                (outcome, onset, at_home)
                for line_id, outcome, onset, _, at_home in self.outcome_events()
                if line_id == line.line_id
            ]
            for kind, onset, at_home in found:
                if onset < self.as_of:
                    row = events.setdefault((line.line_id, kind, *place(onset)), Counter())
                    row["events" if at_home else "events_elsewhere"] += 1
        return days, events

    def skin_events(self, line: Line) -> list[Event]:
        """Events of any finding that counts as one of the skin."""
        return self.finding_events(line, self.edition(self.as_of).skin_codes, "skin")
