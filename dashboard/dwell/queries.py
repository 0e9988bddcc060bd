"""How long do lines stay in place, and how many end unplanned? Fills `DwellView`."""

from __future__ import annotations

import pandas as pd

from analysis.measures.at_risk import lines_at_risk
from analysis.measures.dwell import HORIZON_DAYS, compare_dwell, curves_of, dwell, line_times
from analysis.measures.overdue_hazard import overdue_hazard
from analysis.snapshot import Snapshot
from analysis.verdicts import group_name, hazard_verdict, logrank_verdict
from analysis.vocabulary import Grouping
from dashboard.addresses.dwell import DwellChoice
from dashboard.dwell import words as dwell_words
from dashboard.dwell.views import DwellView
from dashboard.layout import words
from dashboard.security.roles import Page
from dashboard.session.session import Session

STEPS = (7, 15, 30, 60, 90)
"""Days between two ticks: the first that needs no more than `TICKS` of them."""
TICKS = 4
MOST_CURVES = 6
"""A figure shows at most so many groups, those with the most lines."""

IN_PLACE = ("in_place", "in_place_lower", "in_place_upper")
ENDED_UNPLANNED = ("unplanned_share", "unplanned_lower", "unplanned_upper")


class DwellQueries:
    """Questions of the page of dwell time, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.DWELL)
        self.session = session

    def dwell(self, choice: DwellChoice) -> DwellView:
        """Dwell time by a grouping."""
        asked, found = understood(choice), self.session.snapshot()
        return self.session.cached(asked, lambda: dwell_view(found, asked), lasting=True)


def understood(choice: DwellChoice) -> DwellChoice:
    """The choice, all lines together when it is not known."""
    return choice if choice.by in dwell_words.DWELL_GROUPINGS else DwellChoice()


def dwell_view(found: Snapshot, asked: DwellChoice) -> DwellView:
    """Everything the page of dwell time shows under a choice that `understood` has read."""
    by, sites = Grouping(asked.by), found.sites
    times = line_times(found.counted_timeline, found.counted_records, by, sites)
    found_dwell = curves_of(times, found.found_of)
    summary = found_dwell.summary.assign(name=_names(found_dwell.summary["group"], by))
    summary["sentence"] = [
        dwell_words.dwell_sentence(row, str(row["name"])) for row in summary.to_dict("records")
    ]
    shown = summary[summary["start_day"].notna().to_numpy(dtype=bool)]
    shown = shown.nlargest(MOST_CURVES, "lines").sort_index()
    shown = shown.assign(given=[dwell_words.given_from(start) for start in shown["start_day"]])
    curves = found_dwell.curves.assign(name=_names(found_dwell.curves["group"], by))
    curves = curves[curves["name"].isin(shown["name"])].reset_index(drop=True)
    last_day, days = _axis(shown)
    risk = lines_at_risk(times, days)
    risk = risk.assign(name=_names(risk["group"], by))
    risk = risk[risk["name"].isin(shown["name"])].reset_index(drop=True)
    at_days = _at_days(risk, curves, shown)
    hazard = overdue_hazard(found.timeline, found.records, found.found_of)
    tests = _tests(found, asked) if len(summary) > 1 else ()
    return DwellView(
        choice=asked,
        answer=_answer(found, found_dwell.summary, by, tests),
        curves=curves,
        summary=summary,
        shown=shown,
        at_risk=risk,
        at_days=at_days,
        last_day=last_day,
        in_place_words=dwell_words.shares_at_end(
            curves, shown, last_day, IN_PLACE, "Still in place"
        ),
        unplanned_words=dwell_words.shares_at_end(
            curves, shown, last_day, ENDED_UNPLANNED, "Unplanned removal"
        ),
        left_out=_left_out(summary, shown),
        tests=tests,
        hazard=hazard,
        hazard_words=hazard_verdict(hazard).sentence,
    )


def _names(groups: pd.Series[str], by: Grouping) -> pd.Series[str]:
    names = [group_name(g, by) for g in groups]
    return pd.Series(names, index=groups.index, dtype="string")


def _answer(found: Snapshot, summary: pd.DataFrame, by: Grouping, tests: tuple[str, ...]) -> str:
    """Whether the groups differ; the reading of all lines together when they are not split."""
    if not len(summary):
        return "No child came home with a line before this day, so there is no dwell time to show."
    if tests:
        return " ".join(tests)
    if by is not Grouping.ALL:
        known = (found.counted_timeline, found.counted_records)
        summary = dwell(*known, Grouping.ALL, found.sites).summary
    return dwell_words.dwell_sentence(summary.iloc[0], None)


def _axis(shown: pd.DataFrame) -> tuple[int, tuple[int, ...]]:
    """Last day shown and the days with a tick: few enough for a phone."""
    last = int(shown["horizon"].max()) if len(shown) else HORIZON_DAYS
    step = next((s for s in STEPS if s * TICKS >= last - s), STEPS[-1])
    return last, (1, *range(step, last + 1, step))


def _at_days(risk: pd.DataFrame, curves: pd.DataFrame, shown: pd.DataFrame) -> pd.DataFrame:
    """Shares on the days of the axis: those of the last removal before."""
    shares = [*IN_PLACE, *ENDED_UNPLANNED]
    known = curves[["name", "day", *shares]].sort_values("day")
    table = pd.merge_asof(risk.sort_values("day"), known, on="day", by="name")
    table = table.merge(shown[["name", "start_day", "horizon"]], on="name")
    seen = (table["day"] >= table["start_day"]) & (table["day"] <= table["horizon"])
    table = table[seen.to_numpy(dtype=bool)].fillna({IN_PLACE[0]: 1.0, ENDED_UNPLANNED[0]: 0.0})
    order = {name: at for at, name in enumerate(shown["name"])}
    return table.sort_values(
        ["name", "day"], key=lambda c: c.map(order) if c.name == "name" else c, ignore_index=True
    )


def _left_out(summary: pd.DataFrame, shown: pd.DataFrame) -> str:
    rest = summary[~summary["name"].isin(shown["name"])]
    notes = []
    if len(rest):
        names = words.listed([str(n) for n in rest["name"]])
        notes.append(f"No curve here for {names}; the table has all of them.")
    without = int(summary["without_time"].sum()) if len(summary) else 0
    if without:
        lines = words.counted(without, "line", "lines")
        notes.append(f"{lines} removed on the day of coming home, with no time at risk.")
    return " ".join(notes)


def _tests(found: Snapshot, asked: DwellChoice) -> tuple[str, ...]:
    by = Grouping(asked.by)
    tests = []
    for of, only in (("Any removal", False), ("Unplanned removal", True)):
        known = (found.counted_timeline, found.counted_records)
        test = compare_dwell(*known, by, found.sites, unplanned_only=only)
        tests.append(logrank_verdict(test, of, by).sentence)
    return tuple(tests)
