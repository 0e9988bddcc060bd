"""Do lines end unplanned more often while their dressing is out of date?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import days_of
from analysis.measures.dwell import UNPLANNED, line_times
from analysis.measures.snapshot_data import FoundOf, unless_same
from analysis.stats.cox import CoxFit, NoEstimateError, SplitRows, cox, split_at_periods
from analysis.stats.day_table import Ints, has_time
from analysis.tables import Records
from analysis.tables.statistics import OVERDUE_HAZARD
from analysis.timeline import Timeline
from analysis.vocabulary import Grouping, Task

FEWEST_EVENTS = 10
"""With fewer unplanned removals no hazard ratio is given: it would be biased and too sure."""


def overdue_hazard(
    timeline: Timeline, records: Records, known: FoundOf | None = None
) -> pd.DataFrame:
    """Hazard ratio of unplanned removal, dressing out of date against in date or unscored.

    A line is followed from the day it came home (delayed entry); whether its dressing is out of
    date changes from day to day. Other ends are censored. Errors are clustered by child.

    Parameters
    ----------
    timeline, records
        As for `dwell.line_times`.
    known : dict, optional
        As for `snapshot_data.unless_same`.

    Returns
    -------
    DataFrame
        OVERDUE_HAZARD, one row; without a ratio when fewer than `FEWEST_EVENTS` lines ended
        unplanned. It is an association: families in trouble may be late and lose
        a line for the same reason.

    *Source:* as `stats.cox` describes.
    """
    times = line_times(timeline, records, Grouping.ALL)
    timed = has_time(times["entry_day"].to_numpy(), times["exit_day"].to_numpy())
    times = times[timed].reset_index(drop=True)
    placed = days_of(timeline.lines["placed_on"])
    position = np.full(len(timeline.lines), -1, dtype=np.int64)
    position[times["line"].to_numpy(dtype=np.int64)] = np.arange(len(times))
    spans = timeline.intervals
    late = (spans["task"] == Task.DRESSING) & (spans["out_of_date_days"] > 0)
    spans = spans[late.to_numpy(dtype=bool)]
    of_line = spans["line"].to_numpy(dtype=np.int64)
    seen = position[of_line] >= 0
    since = np.maximum(days_of(spans["allowed_until"]), days_of(spans["home_on"])) - placed[of_line]
    until = days_of(spans["end_on"]) - placed[of_line]
    rows = split_at_periods(
        times["entry_day"].to_numpy(),
        times["exit_day"].to_numpy(),
        (times["cause"] == UNPLANNED).to_numpy(),
        position[of_line][seen],
        since[seen],
        until[seen],
    )
    child = pd.factorize(timeline.lines["child_id"])[0]
    clusters = child[times["line"].to_numpy(dtype=np.int64)[rows.line]]
    followed = (rows.start, rows.stop, rows.event, rows.exposed, clusters)
    ratio = unless_same(
        {} if known is None else known, "hazard", followed, lambda: _ratio(rows, clusters)
    )
    values = {
        "lines": len(times),
        "unplanned": int(rows.event.sum()),
        "unplanned_out_of_date": int((rows.event & rows.exposed).sum()),
        **ratio,
    }
    row = pd.DataFrame([values])
    return OVERDUE_HAZARD.check(row.astype({c.name: c.dtype for c in OVERDUE_HAZARD.columns}))


def _ratio(rows: SplitRows, clusters: Ints) -> dict[str, object]:
    """The hazard ratio with its limits, p and reading, if there is one."""
    unplanned = int(rows.event.sum())
    try:
        if unplanned < FEWEST_EVENTS:
            raise NoEstimateError(_too_few(unplanned))
        fit = cox(
            rows.start, rows.stop, rows.event, rows.exposed.astype(float)[:, None], clusters,
            names=("out of date",),
        )  # fmt: skip
        return {
            "hazard_ratio": fit.hazard_ratios[0],
            "lower": fit.lower[0],
            "upper": fit.upper[0],
            "p": fit.p[0],
            "reading": _reading(fit),
        }
    except NoEstimateError as fault:
        blank = dict.fromkeys(("hazard_ratio", "lower", "upper", "p"), np.nan)
        return {**blank, "reading": str(fault)}


def _too_few(unplanned: int) -> str:
    removals = "no line" if not unplanned else "1 line" if unplanned == 1 else f"{unplanned} lines"
    return (
        f"{removals} ended unplanned: a hazard ratio needs at least {FEWEST_EVENTS}".capitalize()
        + "."
    )


def _reading(fit: CoxFit) -> str:
    ratio, lower, upper = (float(v[0]) for v in (fit.hazard_ratios, fit.lower, fit.upper))
    unclear = "; no clear difference" if lower <= 1 <= upper else ""
    return (
        f"while its dressing was out of date a line ended unplanned {ratio:.2f} times as often "
        f"(95 % limits {lower:.2f} to {upper:.2f}){unclear}; an association, not a cause"
    )
