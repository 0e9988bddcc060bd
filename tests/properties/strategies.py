"""Messy histories of families, drawn by hypothesis or from a seeded generator alike."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pandas as pd
from hypothesis import HealthCheck
from hypothesis import strategies as st

from analysis.policy import Edition, FindingCode, IntervalRule, Policy, shipped_policy
from analysis.tables import KNOWN, Records
from analysis.vocabulary import (
    DressingType,
    EntryKind,
    FindingMark,
    LineType,
    OutcomeKind,
    SignOffOutcome,
    Skill,
    Task,
)
from tests.cases import cases
from tests.oracles.call_rules import CallSettings
from tests.oracles.day_by_day import (
    Call,
    Entry,
    History,
    Line,
    Outcome,
    PlainEdition,
    Postponement,
    SignOff,
    Stay,
    Version,
)

A_FEW = cases(16, suppress_health_check=list(HealthCheck))
AS_OF = date(2031, 3, 12)
DAY = timedelta(days=1)
TIMELINE_FRAMES = (
    "lines",
    "home_periods",
    "accessed_periods",
    "intervals",
    "care",
    "skin_events",
    "outcome_events",
    "families",
)
"""Frames of a timeline."""
RECEIVED_AT = "2031-06-01"
FINDINGS = ("redness", "pus", "itch", "fever")
SKIN_FINDINGS = frozenset({"redness", "pus"})
RED_FLAGS = frozenset({"pus", "fever"})
CONDITIONS = ("intact", "loose", "damp", "soiled")
REASONS = ("scheduled", "loose", "damp", "soiled", "skin", "other")
CARE_KINDS = (
    EntryKind.DRESSING_CHANGE,
    EntryKind.SKIN_CHECK,
    EntryKind.CONNECTOR_CHANGE,
    EntryKind.NEEDLE_CHANGE,
    EntryKind.FLUSH,
    EntryKind.PORT_ACCESSED,
    EntryKind.PORT_DEACCESSED,
    EntryKind.NOTE,
)


def messy_family(draw: random.Random, name: str, span: int = 45) -> History:
    """Make one family whose records hold everything that is allowed and odd."""
    lines: list[Line] = []
    stays: list[Stay] = []
    for child in range(draw.choice((1, 1, 2))):
        child_id = f"{name}c{child}"
        lines += [
            _line(draw, f"{child_id}l{nth}", child_id, name, span)
            for nth in range(draw.choice((1, 1, 2, 3)))
        ]
        stays += _stays(draw, child_id, span)
    entries = tuple(_entry(draw, line, span) for line in lines for _ in range(draw.randrange(18)))
    entries += tuple(_unknown_line(draw, name, span) for _ in range(draw.randrange(2)))
    outcomes = tuple(
        Outcome(0, line.child_id, line.line_id, draw.choice(tuple(OutcomeKind)), on)
        for line in lines
        for on in _some_days(draw, span, draw.choice((0, 0, 1, 4)))
    )
    return History(
        tuple(lines),
        tuple(stays),
        entries,
        outcomes,
        tuple(_call(draw, name) for _ in range(draw.choice((0, 0, 1, 2, 5)))),
        tuple(
            Postponement(0, name, _moment(draw), AS_OF + draw.randrange(-2, 4) * DAY)
            for _ in range(draw.choice((0, 0, 0, 1, 2)))
        ),
        tuple(_sign_off(draw, name) for _ in range(draw.choice((0, 1, 3)))),
    )


def _call(draw: random.Random, family_id: str) -> Call:
    recheck_on = AS_OF + draw.randrange(-2, 4) * DAY
    return Call(0, family_id, _moment(draw), draw.choice((True, False, False)), recheck_on)


def _moment(draw: random.Random) -> datetime:
    """A moment of the last days, often one that others have too."""
    return datetime.combine(AS_OF - draw.randrange(-1, 9) * DAY, time(draw.choice((9, 9, 16))))


def _sign_off(draw: random.Random, family_id: str) -> SignOff:
    signed_on = AS_OF - draw.choice((draw.randrange(-2, 45), draw.randrange(360, 420))) * DAY
    outcome = draw.choice((*SignOffOutcome, SignOffOutcome.INDEPENDENT))
    skill = draw.choice((Skill.DRESSING_CHANGE, Skill.DRESSING_CHANGE, Skill.FLUSH))
    return SignOff(0, f"{family_id}k{draw.randrange(2)}", skill, signed_on, outcome)


def _line(draw: random.Random, line_id: str, child_id: str, family_id: str, span: int) -> Line:
    placed_on = AS_OF - draw.randrange(-2, span) * DAY
    home_from = placed_on + draw.choice((0, 0, 1, 3, 9)) * DAY
    removed_on = left_on = None
    fate = draw.randrange(8)
    if fate in (0, 1, 3):
        removed_on = draw.choice((AS_OF, placed_on + draw.randrange(span) * DAY, home_from))
    if fate in (2, 3):
        left_on = draw.choice((AS_OF, placed_on + draw.randrange(span) * DAY, removed_on))
    earlier, last = _versions(draw, family_id, span)
    return Line(
        line_id=line_id,
        child_id=child_id,
        family_id=last.family_id,
        line_type=draw.choice((*LineType, LineType.IMPLANTED_PORT, LineType.IMPLANTED_PORT)),
        dressing_type=last.dressing_type,
        placed_on=placed_on,
        home_from=home_from,
        removed_on=removed_on,
        left_on=left_on,
        change_every_days=last.change_every_days,
        flush_every_days=last.flush_every_days,
        dressing_on=draw.choice((None, home_from - draw.randrange(-2, 5) * DAY)),
        born=draw.choice((None, date(2030, 3, 1), date(2026, 2, 1), date(2012, 6, 1))),
        kit_delivery_days=draw.choice((None, None, 5, 14)),
        site=last.site,
        nurse=last.nurse,
        valid_from=last.valid_from,
        received_at=last.received_at,
        earlier=earlier,
    )


def _versions(
    draw: random.Random, family_id: str, span: int
) -> tuple[tuple[Version, ...], Version]:
    """Earlier versions of a line's row in order of receipt, and the newest one."""
    n = draw.choice((1, 1, 1, 2, 3, 5))
    received = sorted(AS_OF - draw.randrange(-1, span) * DAY for _ in range(n))
    versions = []
    for nth, on in enumerate(received):
        valid_from = draw.choice((None, None, on, on - draw.randrange(20) * DAY, on + 3 * DAY))
        versions.append(
            Version(
                received_at=datetime.combine(on, time(nth, nth)),
                valid_from=valid_from,
                family_id=draw.choice((family_id, family_id, f"{family_id}b")),
                dressing_type=draw.choice(tuple(DressingType)),
                change_every_days=draw.choice((None, None, None, 1, 4, 9)),
                flush_every_days=draw.choice((None, 1, 3)),
                site=draw.choice(("north", "north", "south")),
                nurse=draw.choice((None, "n1", "n2")),
            )
        )
    return tuple(versions[:-1]), versions[-1]


def _stays(draw: random.Random, child_id: str, span: int) -> list[Stay]:
    """Stays that overlap, touch, hold one another, have no night, or have not ended."""
    stays: dict[date, Stay] = {}
    for _ in range(draw.choice((0, 1, 2, 4))):
        earlier = [s.to_on for s in stays.values() if s.to_on is not None]
        from_on = draw.choice(
            (AS_OF - draw.randrange(-1, span) * DAY, AS_OF, *earlier, *(d - DAY for d in earlier))
        )
        to_on = draw.choice((None, AS_OF, *(from_on + n * DAY for n in (0, 1, 1, 2, 3, 5, 8))))
        if to_on is not None and to_on < from_on:
            to_on = from_on
        near = (to_on or AS_OF) - draw.randrange(-1, 4) * DAY
        stays[from_on] = Stay(child_id, from_on, to_on, draw.choice((None, near, from_on)))
    return list(stays.values())


def _entry(draw: random.Random, line: Line, span: int) -> Entry:
    kind = draw.choice((*CARE_KINDS, EntryKind.DRESSING_CHANGE, EntryKind.SKIN_CHECK))
    done_on = AS_OF - draw.choice((draw.randrange(-2, span), draw.randrange(12))) * DAY
    hour = draw.choice((None, 8, 8, 9, 20))
    changed = kind in (EntryKind.DRESSING_CHANGE, EntryKind.PORT_ACCESSED)
    return Entry(
        row=0,
        line_id=line.line_id,
        family_id=line.family_id,
        done_on=done_on,
        done_at=None if hour is None else datetime.combine(done_on, time(hour)),
        kind=kind,
        change_reason=draw.choice((None, None, *REASONS)) if changed else None,
        dressing_type=draw.choice((None, None, *DressingType)) if changed else None,
        dressing_condition=draw.choice((None, None, None, *CONDITIONS)),
        findings=draw.choice(
            (None, None, ("none",), (), tuple(draw.sample(FINDINGS, draw.randrange(1, 3))))
        ),
        caregiver_id=draw.choice((None, f"{line.family_id}k0", f"{line.family_id}k1")),
        kits_left=draw.choice((None, None, None, 0, 2, 4, 9)),
        received_at=datetime.combine(
            done_on + draw.choice((0, 0, 0, 1, 4)) * DAY, time(draw.choice((8, 9, 10)))
        ),
    )


def _unknown_line(draw: random.Random, family_id: str, span: int) -> Entry:
    done_on = AS_OF - draw.randrange(span) * DAY
    return Entry(0, "a line nobody knows", family_id, done_on, EntryKind.NOTE)


def _some_days(draw: random.Random, span: int, n: int) -> set[date]:
    return {AS_OF - draw.randrange(-1, span) * DAY for _ in range(n)}


def numbered_rows(draw: random.Random, families: Sequence[History]) -> list[History]:
    """Give the rows of families numbers in random order, each key of an outcome once."""
    n_rows = sum(
        len(rows)
        for f in families
        for rows in (f.entries, f.outcomes, f.calls, f.postponements, f.sign_offs)
    )
    numbers = iter(draw.sample(range(1, n_rows + 1), n_rows))
    numbered = []
    for family in families:
        outcomes = {(o.line_id, o.outcome, o.onset_on): o for o in family.outcomes}
        numbered.append(
            replace(
                family,
                entries=tuple(replace(e, row=next(numbers)) for e in family.entries),
                outcomes=tuple(replace(o, row=next(numbers)) for o in outcomes.values()),
                calls=tuple(replace(c, row=next(numbers)) for c in family.calls),
                postponements=tuple(replace(p, row=next(numbers)) for p in family.postponements),
                sign_offs=tuple(replace(s, row=next(numbers)) for s in family.sign_offs),
            )
        )
    return numbered


def together(families: Sequence[History]) -> History:
    """Lay families side by side."""
    return History(
        tuple(line for f in families for line in f.lines),
        tuple(s for f in families for s in f.stays),
        tuple(e for f in families for e in f.entries),
        tuple(o for f in families for o in f.outcomes),
        tuple(c for f in families for c in f.calls),
        tuple(p for f in families for p in f.postponements),
        tuple(s for f in families for s in f.sign_offs),
    )


def messy_policy(draw: random.Random) -> Policy:
    """Make a policy of one to three editions, the later ones from days within the history."""
    base = shipped_policy().editions[0]
    starts = [date(1900, 1, 1), *sorted(_some_days(draw, 40, draw.randrange(3)))]
    return Policy("made up", "UTC", tuple(_edition(draw, base, day) for day in starts))


def _edition(draw: random.Random, base: Edition, start: date) -> Edition:
    lengths = (None, 1, 2, 3, 7)
    rules = [IntervalRule(t, draw.choice(lengths), "made up") for t in Task]
    rules += [
        IntervalRule(Task.DRESSING, draw.choice(lengths), "made up", dressing_type=d)
        for d in DressingType
    ]
    rules += [
        IntervalRule(draw.choice(tuple(Task)), draw.choice(lengths), "made up", line_type=t)
        for t in LineType
    ]
    settings = {
        **vars(base.settings),
        "grace_days": draw.choice((0, 0, 1, 2)),
        "silent_after_days": draw.choice((1, 3, 8)),
        "episode_gap_days": draw.choice((0, 2, 7)),
        "infection_repeat_days": draw.choice((1, 5, 14)),
        "age_band_starts": draw.choice(((0, 1, 5, 12, 18), (0, 2))),
    }
    marks = {
        c: frozenset(
            mark
            for mark, codes in (
                (FindingMark.SKIN_EVENT, SKIN_FINDINGS),
                (FindingMark.RED_FLAG, RED_FLAGS),
            )
            if c in codes
        )
        for c in FINDINGS
    }
    return Edition(
        version=f"from {start}",
        effective_from=start,
        settings=type(base.settings)(**settings),
        setting_sources=base.setting_sources,
        intervals=tuple(rules),
        findings={c: FindingCode(c, c, m, "made up") for c, m in marks.items()},
        steps=base.steps,
    )


def plain(policy: Policy) -> list[PlainEdition]:
    """Say a policy in the oracle's own terms."""
    return [
        PlainEdition(
            effective_from=e.effective_from,
            interval_days=e.interval_days,
            skin_codes=e.codes_marked(FindingMark.SKIN_EVENT),
            finding_codes=tuple(e.findings),
            grace_days=e.settings.grace_days,
            silent_after_days=e.settings.silent_after_days,
            episode_gap_days=e.settings.episode_gap_days,
            infection_repeat_days=e.settings.infection_repeat_days,
            age_band_starts=e.settings.age_band_starts,
        )
        for e in policy.editions
    ]


def call_settings(policy: Policy, day: date) -> CallSettings:
    """Settings of the call list on a day, in the oracle's own terms."""
    edition = policy.on(day)
    names = [n for n in CallSettings.__dataclass_fields__ if n != "red_flags"]
    return CallSettings(
        red_flags=edition.codes_marked(FindingMark.RED_FLAG),
        **{name: getattr(edition.settings, name) for name in names},
    )


def records_of(history: History) -> Records:
    """Lay a history out as the frames that the store hands over."""
    lines = [_row(line) for line in history.lines]
    earlier = [
        {**_row(line), **vars(version)} for line in history.lines for version in line.earlier
    ]
    entries = [
        {**vars(e), "findings": ";".join(e.findings) if e.findings else None}
        for e in history.entries
    ]
    frames = {
        "lines": _frame("lines", lines),
        "earlier_lines": _frame("earlier_lines", earlier),
        "stays": _frame("stays", [vars(s) for s in history.stays]),
        "home_log": _frame("home_log", entries),
        "outcomes": _frame("outcomes", [vars(o) for o in history.outcomes]),
        "sign_offs": _frame("sign_offs", [vars(s) for s in history.sign_offs]),
        "calls": _frame("calls", [_as_stored(c) for c in history.calls]),
        "arrangements": _frame("arrangements", [_as_postponed(p) for p in history.postponements]),
    }
    return Records.of(frames)


def _as_stored(call: Call) -> dict[str, object]:
    """A call as the store hands it over."""
    return {
        "row": call.row,
        "family_id": call.family_id,
        "received_at": call.called_at,
        "called_at": call.called_at,
        "called_on": call.called_at.date(),
        "called_by": "n1",
        "outcome": "reached" if call.reached else "no_answer",
        "agreed": None,
        "recheck_on": call.recheck_on,
    }


def _as_postponed(made: Postponement) -> dict[str, object]:
    """A postponement as the store hands it over."""
    return {
        "row": made.row,
        "family_id": made.family_id,
        "made_at": made.made_at,
        "made_on": made.made_at.date(),
        "made_by": "n1",
        "kind": "set_aside",
        "assigned_to": None,
        "until_on": made.until_on,
        "why": "away",
    }


def _row(line: Line) -> dict[str, object]:
    """A line's row without the versions it replaced."""
    return {name: value for name, value in vars(line).items() if name != "earlier"}


def _frame(name: str, rows: Sequence[dict[str, object]]) -> pd.DataFrame:
    entry = KNOWN[name]
    if not rows:
        return entry.empty()
    columns = {key: [row[key] for row in rows] for key in rows[0]}
    columns.setdefault("row", list(range(1, len(rows) + 1)))
    columns.setdefault("received_at", [RECEIVED_AT] * len(rows))
    return entry.build({key: columns[key] for key in columns if key in entry.names})


MEANT = {
    "kind": EntryKind,
    "line_type": LineType,
    "dressing_type": DressingType,
    "outcome": OutcomeKind,
    "row": int,
    "change_every_days": int,
    "flush_every_days": int,
    "kit_delivery_days": int,
    "kits_left": int,
}


def history_of(records: Records) -> History:
    """Say records in the oracle's terms: the other way round."""
    earlier: dict[str, list[Version]] = {}
    replaced = records.earlier_lines.sort_values(["received_at", "row"])
    for line_id, version in zip(replaced["line_id"], _rows(replaced, Version), strict=True):
        earlier.setdefault(line_id, []).append(version)
    lines = [
        replace(line, earlier=tuple(earlier.get(line.line_id, ())))
        for line in _rows(records.lines, Line)
    ]
    return History(
        tuple(lines),
        tuple(_rows(records.stays, Stay)),
        tuple(_rows(records.home_log, Entry)),
        tuple(_rows(records.outcomes, Outcome)),
    )


def _rows(frame: pd.DataFrame, kind: type) -> list:
    names = [name for name in kind.__dataclass_fields__ if name in frame.columns]
    columns = [[_cell(name, c) for c in frame[name].astype(object)] for name in names]
    return [kind(**dict(zip(names, row, strict=True))) for row in zip(*columns, strict=True)]


def _cell(name: str, cell: object) -> object:
    if pd.isna(cell):
        return None
    if isinstance(cell, pd.Timestamp):
        return cell.to_pydatetime() if name.endswith("_at") else cell.date()
    if name == "findings":
        return tuple(str(cell).split(";"))
    return MEANT.get(name, str)(cell)


@st.composite
def messy_programmes(draw: st.DrawFn, max_families: int = 3) -> tuple[list[History], Policy]:
    """A few messy families and a policy."""
    chance = draw(st.randoms(use_true_random=False))
    n = draw(st.integers(1, max_families))
    families = [messy_family(chance, f"f{i}") for i in range(n)]
    return numbered_rows(chance, families), messy_policy(chance)
