"""What is planted, in which families, and how are their entries arranged for it?

Habits are set before anything is drawn; the news of the last days is arranged in the
entries afterwards. Only families with one plain line at home are chosen, and they get
no stay, harm or alarm of chance in the weeks before the as-of day.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date

import numpy as np
import pandas as pd

from analysis.days import date_at, day_number
from analysis.vocabulary import (
    ChangeReason,
    DressingCondition,
    DressingType,
    EntryKind,
    LineType,
    Place,
    Relation,
)
from synthetic_data.draws import BLANK, Bools, Ints, code, column
from synthetic_data.entries import (
    CHANGE,
    CHECK,
    NOTHING,
    STEPS,
    entries,
    finding,
    stacked,
)
from synthetic_data.households import FORM
from synthetic_data.scene import NEVER, Scene
from synthetic_data.skin import SkinRise

CALM_DAYS = 40
"""Days before the as-of day that chance leaves alone in families with planted news."""

_HOW_MANY = {
    "red_flag": 2,
    "overdue": 3,
    "compromised": 2,
    "skin_open": 2,
    "silent": 3,
    "called": 2,
    "lift_early": 5,
    "kits_short": 2,
    "state_unknown": 1,
    "weak_step": 1,
    "late_habit": 3,
}
_CORRECTED = 2
_OVERDUE_DAYS = (2, 4, 6)
_SILENT_DAYS = (10, 13, 17)
_BACK_DAYS = 4
_ALARMS = ("fever", "bleeding")
_REFRESHED_BEFORE = 150
_HALF_YEAR = 184


@dataclass(frozen=True)
class Plan:
    """Line positions chosen for each planted thing, and what holds for whole teams."""

    chosen: dict[str, Ints]
    rise: SkinRise
    shortage: tuple[int, int, int]
    refreshed_on: int

    def quiet(self) -> Ints:
        """Lines whose last weeks are arranged."""
        return np.concatenate([self.chosen[name] for name in _ARRANGED])


def plan(
    rng: np.random.Generator,
    scene: Scene,
    homes: pd.DataFrame,
    people: pd.DataFrame,
    lines: pd.DataFrame,
) -> Plan:
    """Choose the lines; fewer of them in a demo too small for all."""
    spots = rng.permutation(np.flatnonzero(_plain(scene, homes, lines)))
    chosen: dict[str, Ints] = {}
    seconds = (people["which"] == 1) & (people["relation"] != code(Relation.HOME_NURSE))
    shared = np.isin(column(lines, "family")[spots], people.loc[seconds, "family"])
    pair = np.flatnonzero(shared)[: 1 if spots.size > 2 else 0]
    chosen["never_signed_off"], spots = spots[pair], np.delete(spots, pair)
    old = np.flatnonzero(column(lines, "home")[spots] < scene.until - 2 * _REFRESHED_BEFORE - 30)
    take = old[:_CORRECTED] if spots.size > 2 * _CORRECTED else old[:0]
    chosen["refresher_helped"] = spots[take]
    spots = np.delete(spots, take)
    for name, count in _HOW_MANY.items():
        chosen[name], spots = spots[:count], spots[count:]
    until = date_at(scene.until)
    months = until.year * 12 + until.month - 1
    length = scene.until - scene.start
    return Plan(
        chosen=chosen,
        rise=SkinRise(team=1, from_day=_month_start(months - round(length / 91))),
        shortage=(0, scene.until - length // 3, scene.until - length // 3 + 35),
        refreshed_on=scene.until - _REFRESHED_BEFORE,
    )


def with_habits(
    homes: pd.DataFrame, people: pd.DataFrame, lines: pd.DataFrame, made: Plan
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Families and caregivers with the planned habits."""
    family = {name: column(lines, "family")[rows] for name, rows in made.chosen.items()}
    every = np.concatenate(list(family.values()))
    homes = homes.copy()
    homes.loc[every, ["late", "missing", "fails", "fails_later"]] = [0.02, 0.0, 0.03, 0.03]
    homes.loc[family["late_habit"], "late"] = 0.6
    for name in ("lift_early", "refresher_helped"):
        homes.loc[family[name], "fails"] = 0.62
        homes.loc[family[name], "lifts_early"] = True
    homes.loc[family["lift_early"], "fails_later"] = 0.62
    homes.loc[family["refresher_helped"], "later_from"] = made.refreshed_on
    homes.loc[family["weak_step"], "self_checks"] = 1.0
    first = ~people["family"].duplicated().to_numpy()
    people = people.copy()
    weak = first & people["family"].isin(family["weak_step"]).to_numpy()
    people.loc[weak, ["slips", "weak_step"]] = [0.6, STEPS.index("dry_time")]
    second = people["which"].to_numpy() == 1
    unsigned = second & people["family"].isin(family["never_signed_off"]).to_numpy()
    people.loc[unsigned, "signs"] = False
    people.loc[unsigned, "acts"] = True
    people.loc[unsigned, "acts_from"] = 0
    return homes, people


def stays_planted(scene: Scene, lines: pd.DataFrame, made: Plan) -> pd.DataFrame:
    """Stays that ended a few days ago without a word on the dressing."""
    rows = made.chosen["state_unknown"]
    back = np.full(rows.size, scene.until - _BACK_DAYS, dtype=np.int64)
    return pd.DataFrame(
        {
            "child": column(lines, "child")[rows],
            "start": back - 4,
            "end": back,
            "place": code(Place.HOSPITAL),
            "undressed": 1.0,
        }
    )


def with_old_refreshers(
    scene: Scene, people: pd.DataFrame, lines: pd.DataFrame, signed: pd.DataFrame, made: Plan
) -> pd.DataFrame:
    """Sign-offs with none of the last half-year by those who leave out a step.

    A refresher since would leave few changes to judge them by.
    """
    family = column(lines, "family")[made.chosen["weak_step"]]
    weak = np.isin(column(people, "family")[column(signed, "caregiver")], family)
    latest = scene.until - _HALF_YEAR
    day = column(signed, "day")
    return (
        signed.assign(day=np.where(weak, np.minimum(day, latest), day))
        .drop_duplicates(["caregiver", "skill", "day"])
        .sort_values(["day", "caregiver", "skill"], ignore_index=True)
    )


News = tuple[int, int, str, int]
"""What was planted: line, day, detail, days."""


def with_news(
    scene: Scene, rows: pd.DataFrame, made: Plan
) -> tuple[pd.DataFrame, dict[str, list[News]]]:
    """Arrange the last days' entries of the chosen lines, and return what was planted."""
    own = np.isin(column(rows, "line"), made.quiet())
    book = _Book(scene.until, rows[own])
    news = {
        name: [arrange(book, line, at) for at, line in enumerate(made.chosen[name].tolist())]
        for name, arrange in _ARRANGED.items()
    }
    return stacked([rows[~own], book.rows, *book.added]), news


@dataclass
class _Book:
    """Entries of the lines that are being arranged."""

    until: int
    rows: pd.DataFrame
    added: list[pd.DataFrame] = field(default_factory=list)

    def drop(self, line: int, since: int, *kinds: int) -> None:
        """Remove the line's entries of these kinds (all kinds, if none) from a day on."""
        gone = (self.rows["line"] == line) & (self.rows["day"] >= since)
        if kinds:
            gone &= self.rows["kind"].isin(kinds)
        self.rows = self.rows[~gone]

    def add(self, line: int, day: int, hour: int, **given: int) -> None:
        """Put in one entry that reaches the clinic soon."""
        given = {"minute": hour * 60, "sure": 1, **given}
        self.added.append(entries(np.array([line]), np.array([day]), **given))

    def look(self, line: int, day: int) -> None:
        """Put in a look at the skin that saw nothing."""
        self.add(line, day, 9, kind=CHECK, findings=NOTHING)

    def change(self, line: int, day: int) -> None:
        """Put in a change on its day, with nothing to tell."""
        self.add(line, day, 18, kind=CHANGE, findings=NOTHING, reason=code(ChangeReason.SCHEDULED),
                 condition=code(DressingCondition.INTACT))  # fmt: skip


def _red_flag(book: _Book, line: int, at: int) -> News:
    what = _ALARMS[at % len(_ALARMS)]
    book.add(line, book.until - 1, 18, kind=CHECK, findings=finding(what))
    return line, book.until - 1, what, 0


def _compromised(book: _Book, line: int, _: int) -> News:
    book.drop(line, book.until - 2, CHANGE)
    book.drop(line, book.until - 10, CHECK)
    book.change(line, book.until - 4)
    book.add(line, book.until - 1, 16, kind=CHECK, findings=NOTHING,
             condition=code(DressingCondition.LOOSE))  # fmt: skip
    return line, book.until - 1, DressingCondition.LOOSE, 1


def _overdue(book: _Book, line: int, at: int) -> News:
    late = _OVERDUE_DAYS[at % len(_OVERDUE_DAYS)]
    last = book.until - 7 - late
    book.drop(line, last, CHANGE, CHECK)
    book.change(line, last)
    book.look(line, book.until - 4)
    book.look(line, book.until - 1)
    return line, last, "", late


def _silent(book: _Book, line: int, at: int) -> News:
    days = _SILENT_DAYS[at % len(_SILENT_DAYS)]
    book.drop(line, book.until - days)
    book.look(line, book.until - days)
    return line, book.until - days, "", days


def _skin_open(book: _Book, line: int, _: int) -> News:
    book.drop(line, book.until - 3, CHECK, CHANGE)
    book.change(line, book.until - 5)
    book.add(line, book.until - 2, 12, kind=CHECK, findings=finding("redness"))
    return line, book.until - 2, "redness", 0


def _state_unknown(book: _Book, line: int, _: int) -> News:
    back = book.until - _BACK_DAYS
    book.drop(line, back - 4, CHANGE, CHECK)
    book.look(line, back)
    return line, back, "", _BACK_DAYS


def _kits_short(book: _Book, line: int, _: int) -> News:
    book.drop(line, book.until - 9, code(EntryKind.SUPPLY_COUNT))
    book.add(line, book.until - 2, 20, kind=code(EntryKind.SUPPLY_COUNT), kits=1)
    return line, book.until - 2, "", 1


_ARRANGED: dict[str, Callable[[_Book, int, int], News]] = {
    "red_flag": _red_flag,
    "compromised": _compromised,
    "overdue": _overdue,
    "called": _overdue,
    "silent": _silent,
    "skin_open": _skin_open,
    "state_unknown": _state_unknown,
    "kits_short": _kits_short,
}


def planted_families(lines: pd.DataFrame, made: Plan) -> Ints:
    """Families in which anything is planted."""
    return column(lines, "family")[np.concatenate(list(made.chosen.values()))]


def _plain(scene: Scene, homes: pd.DataFrame, lines: pd.DataFrame) -> Bools:
    family = column(lines, "family")
    children = lines.groupby("family")["child"].transform("nunique").to_numpy()
    here = column(lines, "end") == NEVER
    of_family = np.bincount(family[here], minlength=len(homes))
    dressing = column(lines, "dressing")
    plain = here & (children == 1) & (of_family[family] == 1)
    plain &= (dressing == code(DressingType.TRANSPARENT)) | (
        dressing == code(DressingType.TRANSPARENT_CHG)
    )
    plain &= column(lines, "type") != code(LineType.IMPLANTED_PORT)
    plain &= column(lines, "order") == BLANK
    plain &= column(lines, "home") < scene.until - 60
    return plain & (column(homes, "channel")[family] == FORM)


def _month_start(months: int) -> int:
    return day_number(date(months // 12, months % 12 + 1, 1))
