"""On which days does skin at an exit site suffer more easily than on others?

What raises the risk can be seen in a family's log, if its entries are read for it: reports of a
loose, damp or soiled dressing, dressings that fail early again and again, a dressing worn too long,
a person who is new to the care, an earlier skin event. The warm months raise it for everybody.
The numbers are invented (`habits`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.days import date_at
from analysis.vocabulary import DressingCondition, LineType, RemovalReason
from synthetic_data import habits
from synthetic_data.draws import BLANK, Floats, Ints, code, column, ragged
from synthetic_data.entries import CHANGE
from synthetic_data.scene import Scene
from synthetic_data.spans import days_within, last_within, pack

_SPOILED = tuple(
    code(c) for c in (DressingCondition.LOOSE, DressingCondition.DAMP, DressingCondition.SOILED)
)
_PORT = code(LineType.IMPLANTED_PORT)


@dataclass(frozen=True)
class LineDays:
    """Every day at home of every line, in order, and the relative risk on it."""

    line: Ints
    day: Ints
    risk: Floats
    """1 where nothing raises it."""


def risk_by_day(
    scene: Scene, people: pd.DataFrame, lines: pd.DataFrame, rows: pd.DataFrame
) -> LineDays:
    """Multiply what raises the risk on each day of each line.

    Parameters
    ----------
    people, lines : DataFrame
        Caregivers and lines of the block.
    rows : DataFrame
        What families did, before anything of it is forgotten or late.
    """
    home, end = column(lines, "home"), np.minimum(column(lines, "end"), scene.until)
    line, nth = ragged(np.maximum(end - home, 0))
    day = home[line] + nth
    reported = np.isin(column(rows, "condition"), _SPOILED)
    spoiled = np.unique(pack(column(rows, "line")[reported], column(rows, "day")[reported]))
    recently = days_within(spoiled, line, day - habits.SPOILED_DAYS - 1, day - 1)
    often = days_within(spoiled, line, day - habits.OFTEN_DAYS - 1, day - 1)
    risk = np.where(recently > 0, habits.RISK_SPOILED, 1.0)
    risk *= np.where(often >= habits.OFTEN, habits.RISK_OFTEN, 1.0)
    change = column(rows, "kind") == CHANGE
    changed = np.sort(pack(column(rows, "line")[change], column(rows, "day")[change]))
    last = last_within(changed, line, day - 60, day - 1)
    worn = (last != BLANK) & (day - last > habits.WORN_DAYS)
    worn &= column(lines, "type")[line] != _PORT
    risk *= np.where(worn, habits.RISK_WORN, 1.0)
    family = column(lines, "family")[line]
    begun = np.unique(pack(column(people, "family"), column(people, "acts_from")))
    new = days_within(begun, family, day - habits.NEW_DAYS, day)
    risk *= np.where(new > 0, habits.RISK_NEW, 1.0)
    return LineDays(line, day, risk * _season(day) * _before_removal(lines, line, day))


def raised_again(risk: LineDays, line: Ints, onset: Ints) -> Floats:
    """Risk of the days some weeks after an event of the same line; 0 on all others."""
    low, high = habits.AGAIN_DAYS
    events = np.unique(pack(line, onset))
    again = days_within(events, risk.line, risk.day - high - 1, risk.day - low)
    return np.where(again > 0, risk.risk, 0.0)


def _season(day: Ints) -> Floats:
    if not day.size:
        return np.ones(0)
    first = int(day.min())
    of_year = np.array([date_at(d).timetuple().tm_yday for d in range(first, int(day.max()) + 1)])
    turn = 2 * np.pi * (of_year - habits.WARMEST_DAY) / 365.25
    return np.asarray((1 + habits.SEASON * np.cos(turn))[day - first], dtype=np.float64)


def _before_removal(lines: pd.DataFrame, line: Ints, day: Ints) -> Floats:
    """Lines that are lost to infection or to the skin show it in the weeks before."""
    lost = np.isin(
        column(lines, "reason"), [code(RemovalReason.INFECTION), code(RemovalReason.SKIN_INJURY)]
    )
    left = column(lines, "end")[line] - day
    near = lost[line] & (left <= habits.BEFORE_REMOVAL_DAYS)
    return np.where(near, habits.RISK_BEFORE_REMOVAL, 1.0)
