"""What may leave the team? One closed quarter, and nothing that another copy gives away.

A copy for outside holds the counts of one closed quarter received by one fixed moment. The copies
of all weeks and months until the next quarter is closed hold the same, and no copy holds a count of
another one's quarter, so that subtracting copies gives nothing. Nor does it hold sums over other
times, such as the centre of a chart. Counts from 1 to 10 are hidden with everything that reveals
them, shares with a small part among them.

*Source:* the small-cell rule as in `stats.small_cells`; what is shown is a project choice.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from analysis.decisions.calling import calling
from analysis.errors import UsageError
from analysis.measures.adherence import adherence
from analysis.measures.counts import usual_basis
from analysis.measures.rates import rates
from analysis.reports.cells import counts_of, many, rate_cells, released, safe_share
from analysis.reports.data import ReportData
from analysis.reports.period import Period, outside_quarter
from analysis.reports.report import Part, Table
from analysis.stats.small_cells import hidden_counts
from analysis.vocabulary import Copy, Grouping, Limits, OutcomeKind, Role, Task
from analysis.words import (
    BANDS,
    BANDS_SHOWN,
    HIDDEN,
    NOT_NHSN,
    percent,
    plain,
    sentence,
    text,
    thousands,
)

SKIN = "skin"
ALL_SITES_ONLY = (
    "A copy for outside covers all sites: next to the copy of all sites, a copy of one site would "
    "reveal hidden counts of another. Leave out --site, or use --copy team."
)


def outside_request(period: Period, known_at: date | None, sites: object) -> tuple[Period, date]:
    """The quarter, and the day of receipt, that a copy for outside reports on.

    Raises
    ------
    UsageError
        Some sites only, or a day of receipt, are asked for.
    """
    if sites is not None:
        raise UsageError(ALL_SITES_ONLY)
    if known_at is not None:
        raise UsageError(
            "A copy for outside has a fixed day of receipt, so that two copies cannot be "
            "subtracted. Leave out --known-at, or use --copy team."
        )
    quarter = outside_quarter(period)
    return quarter, quarter.settled_on


def outside_parts(data: ReportData, role: Role) -> list[Part]:
    """The parts of the copy for outside of the manager or of infection prevention."""
    if role is Role.MANAGER:
        return [_in_date(data), _calls(data)]
    return [_events(data), _sites(data)]


def _events(data: ReportData) -> Part:
    rows = []
    known = [str(e) for e in data.now.tallies.events["event"].cat.categories]
    for event in (SKIN, *(str(o) for o in OutcomeKind if str(o) in known)):
        basis = usual_basis(event)
        found = rates(data.tallies, event, Grouping.ALL, basis, Limits.EXACT)
        if len(found):
            name = "Skin events" if event == SKIN else sentence(plain(event))[:-1]
            row = released(found).iloc[0].to_dict()
            rows.append((name, *rate_cells(row), f"per {basis}"))
    title = f"How often did harm happen in {data.period.words}?"
    if not rows:
        return Part(title, "There are no home line-days, so there is no rate.")
    events, days, rate, limits, _ = rows[0][1:]
    answer = (
        f"Skin events: the count is hidden, of {days} home line-days."
        if events == HIDDEN
        else f"Skin events: {events} in {days} home line-days, {rate} per 1000 (95 % limits {limits})."
    )
    heads = ("Event", "Events", "Home line-days", "Per 1000", "95 % limits", "Line-days counted")
    return Part(
        title,
        f"{answer} {NOT_NHSN}",
        tables=(Table(f"Events attributed to home, {data.period.words}", heads, tuple(rows)),),
        notes=("Charts over time are in the copy for the team.",),
        explained=("skin_rate", "rate_limits"),
    )


def _sites(data: ReportData) -> Part:
    title = "How do sites compare?"
    found = rates(data.tallies, SKIN, Grouping.SITE, usual_basis(SKIN), Limits.EXACT)
    if found.empty:
        return Part(title, "There are no home line-days.")
    rows = tuple(
        (text(r["group"]) or "not recorded", *rate_cells(r))
        for r in released(found).to_dict("records")
    )
    heads = ("Site", "Skin events", "Home line-days", "Per 1000", "95 % limits")
    return Part(
        title,
        "Where limits overlap widely, there is no clear difference between sites.",
        tables=(Table(f"Skin events by site, {data.period.words}", heads, rows),),
        explained=("rate_limits",),
    )


def _in_date(data: ReportData) -> Part:
    title = "How often was the dressing in date?"
    explained = ("in_date_share", "on_time_share")
    whole = adherence(data.tallies, Grouping.ALL, Task.DRESSING)
    if whole.empty:
        return Part(title, "There are no home line-days.", explained=explained)
    in_date, on_time = _shares(whole.iloc[0])
    by_site = adherence(data.tallies, Grouping.SITE, Task.DRESSING)
    hidden = _hidden_sites(by_site)
    heads = ("Site", "Families", "In date", "Changed on time")
    rows = tuple(
        (
            text(row["group"]),
            *((HIDDEN,) * 3 if hide else (thousands(int(row["families"])), *_shares(row))),
        )
        for row, hide in zip(by_site.to_dict("records"), hidden, strict=True)
    )
    return Part(
        title,
        f"Home line-days with the dressing in date: {in_date}. Changes on time: {on_time}.",
        tables=(Table(f"Care in date by site, {data.period.words}", heads, rows),),
        explained=explained,
    )


def _shares(row: Any) -> tuple[str, str]:
    """Shares in date and on time, each hidden where one of its parts is small."""
    days = int(row["in_date_days"]) + int(row["out_of_date_days"])
    in_date = safe_share(int(row["in_date_days"]), days)
    on_time = safe_share(int(row["intervals_on_time"]), int(row["intervals_scored"]))
    return (
        percent(row["in_date_share"]) if in_date else HIDDEN,
        percent(row["on_time_share"]) if on_time else HIDDEN,
    )


def _hidden_sites(by_site: pd.DataFrame) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Sites to hide: few families or a small part, and one more where only one is hidden."""
    hidden = np.array(hidden_counts(by_site["families"].to_numpy()).counts)
    hidden |= np.array([HIDDEN in _shares(row) for row in by_site.to_dict("records")], dtype=bool)
    if int(hidden.sum()) == 1 and len(hidden) > 1:
        shown = np.flatnonzero(~hidden)
        hidden[shown[by_site["families"].to_numpy()[shown].argmin()]] = True
    return hidden


def _calls(data: ReportData) -> Part:
    called = calling(data.lists, data.now.records.calls)
    last, done = called.iloc[-1], called.iloc[:-1]
    reached = int(done["reached"].sum())
    spoken = counts_of([reached, int(done["made"].sum()) - reached], Copy.OUTSIDE)
    listed = counts_of([int(last["listed"])], Copy.OUTSIDE)[0]
    bands = counts_of([int(last[b]) for b in BANDS_SHOWN], Copy.OUTSIDE)
    rows = tuple((BANDS[b].title, cell) for b, cell in zip(BANDS_SHOWN, bands, strict=True))
    return Part(
        "How many families needed a call, and how many were reached?",
        f"After the quarter {many(listed)} families needed a call. Calls recorded in the quarter: "
        f"{spoken[0]} reached the family, {spoken[1]} did not.",
        tables=(Table("Families by band after the quarter", ("Band", "Families"), rows),),
    )
