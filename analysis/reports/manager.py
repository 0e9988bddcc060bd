"""What is in the nurse manager's report? Care in date, calls, what changed, what is to come."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from analysis.decisions.calling import calling, list_change
from analysis.decisions.capacity import capacity, kits_running_out
from analysis.decisions.signal_work import signals_line
from analysis.measures.adherence import adherence
from analysis.reports import figures
from analysis.reports.basis import titled
from analysis.reports.cells import column
from analysis.reports.data import ReportData
from analysis.reports.figures import Point
from analysis.reports.outside import outside_parts
from analysis.reports.period import month_words
from analysis.reports.report import Figure, Part, Report, Table
from analysis.tables.planning import TO_CALL
from analysis.vocabulary import Copy, Grouping, Role, Task
from analysis.words import (
    BANDS,
    BANDS_SHOWN,
    REASONS,
    counted,
    families,
    percent,
    percents,
    sentence,
    short_day,
    text,
    thousands,
    weekday_words,
)

MOST_LISTED = 25
MONTHS_SHOWN = 13


def manager_report(data: ReportData, copy: Copy) -> Report:
    """Put the nurse manager's report together.

    Parameters
    ----------
    data : ReportData
        Of the period.
    copy : Copy
        One for outside is `outside.outside_parts`.
    """
    if copy is Copy.OUTSIDE:
        parts = outside_parts(data, Role.MANAGER)
        return titled(data, Role.MANAGER, copy, [p.answer for p in parts], parts)
    called = calling(data.lists, data.now.records.calls)
    share = adherence(data.tallies, Grouping.ALL, Task.DRESSING)
    parts = [
        _to_call(data),  # what to do is on the first page
        _in_date(data, share),
        _calls(data, called),
        _change(data),
        _ahead(data),
        _kits(data),
    ]
    brief = [*_brief(data, called, share), *filter(None, [signals_line(data.signals.worked)])]
    return titled(data, Role.MANAGER, copy, brief, parts)


def _brief(data: ReportData, called: pd.DataFrame, share: pd.DataFrame) -> list[str]:
    last, kind = called.iloc[-1], data.period.kind
    listed, first = (families(int(n)) for n in (last["listed"], called.iloc[0]["listed"]))
    done = called.iloc[:-1]
    reached, made = int(done["reached"].sum()), int(done["made"].sum())
    sentences = [
        (
            f"{listed} {_need(int(last['listed']))} a call on {weekday_words(data.period.end)}; on "
            f"the first morning of the {kind} it was {first}."
        ),
        _calls_made(kind, made, reached),
    ]
    if len(share):
        row = share.iloc[0]
        sentences.insert(0, f"{percent(row['in_date_share'])} of days were in date{_was(data)}.")
    return sentences


def _need(number: int) -> str:
    return "needs" if number == 1 else "need"


def _calls_made(kind: str, made: int, reached: int) -> str:
    if not made:
        return f"No calls were recorded in the {kind}."
    return (
        f"Calls recorded in the {kind}: {thousands(reached)} reached the family, "
        f"{thousands(made - reached)} did not."
    )


def _was(data: ReportData) -> str:
    before = adherence(data.tallies_before, Grouping.ALL, Task.DRESSING)
    if before.empty or pd.isna(before["in_date_share"].iloc[0]):
        return ""
    return f", {percent(before['in_date_share'].iloc[0])} in the {data.period.kind} before"


def _in_date(data: ReportData, share: pd.DataFrame) -> Part:
    title = "How often was the dressing in date?"
    explained = ("in_date_share", "on_time_share")
    if share.empty:
        return Part(title, "There are no home line-days.", explained=explained)
    row, kind = share.iloc[0], data.period.kind
    answer = (
        f"On {percent(row['in_date_share'])} of home line-days with a known dressing change "
        f"(95 % limits {percents(row['in_date_lower'], row['in_date_upper'])}){_was(data)}. "
        f"{_on_time(row)}"
    )
    by_month = adherence(data.now.tallies, Grouping.MONTH, Task.DRESSING).tail(MONTHS_SHOWN)
    points = [
        Point(
            month_words(str(m)), v, low, high, open=pd.Period(m).end_time.date() >= data.period.end
        )
        for m, v, low, high in zip(
            by_month["group"],
            *(column(by_month, f"in_date_{c}") for c in ("share", "lower", "upper")),
            strict=True,
        )
    ]
    notes = [
        "The limits come from resampling families. A hollow point is a month that is not over."
    ]
    return Part(
        title,
        answer,
        Figure(figures.shares(points, "% of home line-days in date"), "By month."),
        (_by_site(data, kind),),
        tuple(notes),
        explained,
    )


def _on_time(row: Any) -> str:
    intervals = counted(int(row["intervals_scored"]), "scored interval", "scored intervals")
    return f"Of {intervals}, {percent(row['on_time_share'])} ended on time."


def _by_site(data: ReportData, kind: str) -> Table:
    now = adherence(data.tallies, Grouping.SITE, Task.DRESSING)
    before = adherence(data.tallies_before, Grouping.SITE, Task.DRESSING)
    was = before.set_index("group")["in_date_share"]
    heads = (
        "Site",
        "Families",
        "Home line-days",
        "In date",
        "95 % limits",
        f"The {kind} before",
        "On time",
        "Log coverage",
    )
    rows = []
    for row in now.to_dict("records"):
        shown = (
            thousands(int(row["families"])),
            thousands(int(row["home_line_days"])),
            percent(row["in_date_share"]),
            percents(row["in_date_lower"], row["in_date_upper"]),
            percent(was.get(row["group"], math.nan)),
            percent(row["on_time_share"]),
            percent(row["log_coverage"]),
        )
        rows.append((text(row["group"]), *shown))
    return Table(f"Care in date by site, {data.period.words}", heads, tuple(rows))


def _calls(data: ReportData, called: pd.DataFrame) -> Part:
    kind = data.period.kind
    until = "that day" if data.period.is_week else "until the next of these mornings"
    heads = (
        "Morning",
        "To call",
        *(BANDS[b].title for b in BANDS_SHOWN),
        "Calls made",
        "Reached the family",
    )
    rows = [
        (
            weekday_words(row["morning"].date()),
            *(thousands(int(row[c])) for c in ("listed", *BANDS_SHOWN)),
            *("" if pd.isna(row[c]) else thousands(int(row[c])) for c in ("made", "reached")),
        )
        for row in called.to_dict("records")
    ]
    names = ("to call", "calls made", "reached")
    columns = ("listed", "made", "reached")
    series = [(n, column(called, c)) for n, c in zip(names, columns, strict=True)]
    last = called.iloc[-1]
    return Part(
        "How many families needed a call, and how many were reached?",
        f"{families(int(last['listed']))} {_need(int(last['listed']))} a call on "
        f"{weekday_words(data.period.end)}, {last['same_day_review']} for same-day review and "
        f"{last['call_today']} today; {families(int(last['waiting']))} called come back on the list "
        "later.",
        Figure(
            figures.bars([r[0] for r in rows], series, "families, calls"),
            "By morning: families to call, calls made, calls that reached the family.",
        ),
        (Table(f"Mornings of the {kind}", heads, tuple(rows)),),
        (
            (
                f"Each list uses data received before that morning. Calls made: {until}. The last row "
                "is the list for the morning after this report."
            ),
        ),
    )


def _change(data: ReportData) -> Part:
    first, last = data.lists[data.period.start], data.lists[data.period.end]
    change = list_change(first, last)
    then, now = (set(found.families["family_id"]) for found in (first, last))
    new, gone, stayed = len(now - then), len(then - now), len(now & then)
    rows = [
        (
            sentence(REASONS[row["reason"]])[:-1],
            *(thousands(int(row[c])) for c in ("then", "new", "gone", "now")),
        )
        for row in change.to_dict("records")
    ]
    heads = (
        "Reason",
        weekday_words(data.period.start),
        "New since then",
        "No longer",
        weekday_words(data.period.end),
    )
    notes = [
        (
            "A family may have several reasons. Care that looks overdue while a family is silent may "
            "have been done but not logged; the call list shows which."
        )
    ]
    notes += [f"Joined the list: {_codes(now - then)}.", f"Left the list: {_codes(then - now)}."]
    return Part(
        "What changed since the first morning?",
        (
            f"{families(new)} joined the list, {gone} left it and {stayed} were on it both times "
            "(to call or waiting)."
        ),
        tables=(Table("Families with each reason to call", heads, tuple(rows)),),
        notes=tuple(notes),
        explained=("days_overdue", "silent_days"),
    )


def _codes(found: set[str]) -> str:
    return ", ".join(sorted(found)) or "none"


def _to_call(data: ReportData) -> Part:
    calls = data.now.calls
    listed = calls.families[calls.families["rank"].notna().to_numpy(dtype=bool)]
    shown = listed.head(MOST_LISTED)
    rows = tuple(
        (
            str(row["rank"]),
            row["family_id"],
            BANDS[row["band"]].title,
            sentence(text(row["sentence"])),
            thousands(row["days_overdue"]),
            text(row["nurse"]).replace(";", ", "),
        )
        for row in shown.to_dict("records")
    )
    more = len(listed) - len(shown)
    notes = (f"{families(more)} more: linedays calls --as-of {data.period.end}.",) if more else ()
    return Part(
        f"Which families to call first on {weekday_words(data.period.end)}?",
        "In calling order." if rows else "No family needs a call.",
        tables=(
            Table(
                "Families to call, in order",
                ("Rank", "Family", "Band", "Why", "Days overdue", "Nurse"),
                rows,
            ),
        )
        if rows
        else (),
        notes=notes,
    )


def _ahead(data: ReportData) -> Part:
    now = data.now
    due = capacity(now.timeline, now.records, now.policy, TO_CALL.empty())
    title = "What is due in the next 14 days?"
    if due.empty:
        return Part(title, "No child with a line is at home.")
    by_day = due.pivot_table(index="day", columns="site", values="changes_due", aggfunc="sum")
    days = [pd.Timestamp(d).date() for d in by_day.index]
    sums = [int(n) for n in by_day.sum(axis=1)]
    heads = ("Day", *map(str, by_day.columns), "All")
    rows = tuple(
        (weekday_words(day), *(thousands(int(n)) for n in cells), thousands(whole))
        for day, cells, whole in zip(days, by_day.to_numpy(), sums, strict=True)
    )
    return Part(
        title,
        f"{counted(sum(sums), 'dressing change', 'dressing changes')}, most on "
        f"{weekday_words(days[sums.index(max(sums))])} ({max(sums)}).",
        Figure(
            figures.bars(
                [weekday_words(d).rsplit(" ", 1)[0] for d in days],
                [("", sums)],
                "dressing changes due",
            ),
            "By day, all sites.",
        ),
        (Table("Dressing changes due, by site", heads, rows),),
        (
            (
                "Overdue changes count on the first day. Each change is assumed to be done on the last "
                "day it would be on time."
            ),
        ),
    )


def _kits(data: ReportData) -> Part:
    kits = kits_running_out(data.now.timeline, data.now.records, data.now.policy)
    title = "Which families will run out of kits before the next delivery?"
    if kits.empty:
        return Part(title, "No family that counts its kits is expected to run out.")
    rows = tuple(
        (
            row["family_id"],
            text(row["site"]),
            f"{row['kits_left']} on {_on(row['counted_on'], data)}",
            thousands(row["used"]),
            _on(row["runs_out_on"], data),
            _on(row["delivery_on"], data),
        )
        for row in kits.to_dict("records")
    )
    heads = ("Family", "Site", "Kits counted", "Used since", "Run out on", "Next delivery")
    return Part(
        title,
        f"{families(len(kits))}, the first on {_on(kits['runs_out_on'].iloc[0], data)}.",
        tables=(Table("Kits that run out", heads, rows),),
        notes=("The next delivery is estimated from the last time a count went up.",),
    )


def _on(day: Any, data: ReportData) -> str:
    return "not known" if pd.isna(day) else short_day(day.date(), data.period.end)
