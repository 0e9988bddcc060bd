"""What is in the educator's report? Who needs retraining on which step, and whether refreshers help."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from analysis.decisions.practice import practice
from analysis.decisions.refreshers import control_sentence, refreshers, taught
from analysis.decisions.retraining import limit_of, not_signed_off
from analysis.decisions.sessions import group_sessions
from analysis.decisions.signal_work import signals_line
from analysis.policy import Edition
from analysis.reports import figures
from analysis.reports.basis import titled
from analysis.reports.cells import counts_of
from analysis.reports.data import ReportData
from analysis.reports.figures import Point
from analysis.reports.report import Figure, Part, Report, Table
from analysis.snapshot import Snapshot
from analysis.vocabulary import Copy, NeedState, Role
from analysis.words import (
    HIDDEN,
    NO_SIGN_OFF_WHY,
    STEPS,
    counted,
    day_year,
    families,
    limits,
    need_words,
    number,
    percent,
    plain,
    sentence,
    text,
)

MOST_LISTED = 25
NOT_RECORDED = "not recorded"


def educator_report(data: ReportData, copy: Copy) -> Report:
    """Put the educator's report together.

    Parameters
    ----------
    data : ReportData
        Of the period.
    copy : Copy
        One that leaves the team counts families by step, and hides counts from 1 to 10.
    """
    now = data.now
    needs = now.retraining
    likely = _likely(needs)
    parts = [
        _steps(data, likely, copy),
        *([_to_retrain(data, likely, needs)] if copy is Copy.TEAM else []),
        _signed(data, copy),
        *([_sessions(data, needs), _effect(data)] if copy is Copy.TEAM else []),
    ]
    signals = [signals_line(data.signals.worked)] if copy is Copy.TEAM else []
    brief = [*(p.answer for p in parts), *filter(None, signals)]
    return titled(data, Role.EDUCATOR, copy, brief, parts)


def _likely(needs: pd.DataFrame) -> pd.DataFrame:
    """Needs whose recent evidence calls for retraining, facts without a share left out."""
    retrain = (needs["state"] == NeedState.RETRAIN) & needs["prob_above"].notna()
    return needs[retrain.to_numpy(dtype=bool)]


def _needs_of(seen: Snapshot) -> set[tuple[str, str, str]]:
    likely = _likely(seen.retraining)
    return set(_keys(likely))


def _keys(needs: pd.DataFrame) -> list[tuple[str, str, str]]:
    columns = (needs[c].fillna("") for c in ("family_id", "caregiver_id", "step"))
    return list(zip(*columns, strict=True))


def step_words(step: str, edition: Edition) -> str:
    """A step as the policy calls it."""
    own = edition.steps.get(step)
    return own.label if own is not None else STEPS.get(step, plain(step))


def _steps(data: ReportData, likely: pd.DataFrame, copy: Copy) -> Part:
    edition = data.now.edition
    by_step = (
        likely.groupby("step", observed=True)["family_id"].nunique().sort_values(ascending=False)
    )
    whole = counts_of([likely["family_id"].nunique()], copy)[0]
    rows = [
        (
            sentence(step_words(str(step), edition))[:-1],
            cell,
            percent(limit_of(str(step), edition.settings)),
        )
        for step, cell in zip(
            by_step.index, counts_of(list(by_step), copy, add_up=False), strict=True
        )
    ]
    heads = ("Step", "Families probably above the limit", "Limit: share missed")
    return Part(
        "Which steps are missed too often?",
        f"{'A hidden number of' if whole == HIDDEN else whole} families probably miss a step more "
        "often than its limit, by recent evidence.",
        tables=(Table("Families by step", heads, tuple(rows)),) if rows else (),
        notes=(
            (
                "Each caregiver's rate is adjusted for small numbers, towards the programme average "
                "of that step, so that one bad week is not a bad family. A family may miss several "
                "steps."
            ),
        ),
    )


def _to_retrain(data: ReportData, likely: pd.DataFrame, needs: pd.DataFrame) -> Part:
    before = _needs_of(data.start)
    shown = likely.head(MOST_LISTED)
    keys = _keys(shown)
    edition = data.now.edition
    rows = tuple(
        (
            row["family_id"],
            text(row["caregiver_id"]) or NOT_RECORDED,
            step_words(row["step"], edition),
            f"{row['missed']} of {row['seen']}",
            percent(row["shrunk_share"]),
            percent(row["prob_above"]),
            "new" if key not in before else "",
        )
        for row, key in zip(shown.to_dict("records"), keys, strict=True)
    )
    new = len(set(_keys(likely)) - before)
    more = len(likely) - len(shown)
    heads = (
        "Family",
        "Caregiver",
        "Step",
        "Missed",
        "Adjusted rate",
        "Probability above limit",
        "New",
    )
    notes = [
        (
            f"{counted(len(needs), 'caregiver-step pair', 'caregiver-step pairs')} with anything missed: "
            f"linedays retraining --as-of {data.period.end}."
        )
    ]
    if more:
        notes.insert(0, f"{more} more need retraining by recent evidence.")
    return Part(
        "Who needs retraining first?",
        f"{counted(len(likely), 'caregiver-step pair', 'caregiver-step pairs')} likely "
        f"{'needs' if len(likely) == 1 else 'need'} retraining, most certain first; {new} new since "
        f"{day_year(data.period.start)}."
        if rows
        else "No caregiver is likely to be above a limit.",
        tables=(
            *((Table("Families, caregivers and steps", heads, rows),) if rows else ()),
            *_refreshed(needs, edition),
        ),
        notes=tuple(notes),
    )


def _refreshed(needs: pd.DataFrame, edition: Edition) -> tuple[Table, ...]:
    """Caregivers and steps with a refresher lately that need none now, those to watch first."""
    states = [str(NeedState.WATCH), str(NeedState.TOO_EARLY), str(NeedState.IMPROVED)]
    found = needs[(needs["state"].isin(states) & needs["prob_above"].notna()).to_numpy(dtype=bool)]
    if found.empty:
        return ()
    rows = tuple(
        (
            row["family_id"],
            text(row["caregiver_id"]) or NOT_RECORDED,
            step_words(row["step"], edition),
            need_words(
                str(row["state"]),
                row["seen"],
                row["missed"],
                row["seen_before"],
                row["missed_before"],
            ),
        )
        for row in found.head(MOST_LISTED).to_dict("records")
    )
    of_all = f", {len(rows)} of {len(found)}" if len(rows) < len(found) else ""
    return (Table(f"Recently retrained{of_all}", ("Family", "Caregiver", "Step", "State"), rows),)


def _signed(data: ReportData, copy: Copy) -> Part:
    now = data.now
    found = not_signed_off(now.timeline, now.records, now.policy)
    title = "Who changes dressings without a current sign-off?"
    days = now.edition.settings.sign_off_recent_days
    if copy is Copy.OUTSIDE:
        cell = counts_of([len(found)], copy)[0]
        return Part(
            title,
            f"{'A hidden number of' if cell == HIDDEN else cell} caregivers in the last {days} days.",
        )
    if found.empty:
        return Part(title, f"No named caregiver in the last {days} days.")
    rows = tuple(
        (
            row["family_id"],
            text(row["caregiver_id"]),
            text(row["site"]).replace(";", ", "),
            str(row["changes"]),
            NO_SIGN_OFF_WHY.get(str(row["why"]), plain(str(row["why"]))),
            "never" if pd.isna(row["signed_on"]) else day_year(row["signed_on"].date()),
        )
        for row in found.head(MOST_LISTED).to_dict("records")
    )
    more = len(found) - len(rows)
    heads = ("Family", "Caregiver", "Site", "Changes", "Why", "Last sign-off")
    return Part(
        title,
        f"{counted(len(found), 'caregiver', 'caregivers')} in the last {days} days.",
        tables=(Table("Caregivers without a current sign-off", heads, rows),),
        notes=(f"{more} more: linedays retraining sign-offs.",) if more else (),
    )


def _sessions(data: ReportData, needs: pd.DataFrame) -> Part:
    planned = group_sessions(needs, data.now.timeline)
    title = "Which families could share a session?"
    if planned.empty:
        return Part(title, "No two families at the same site need the same step.")
    edition = data.now.edition
    rows = tuple(
        (
            row["site"],
            step_words(row["step"], edition),
            str(row["families"]),
            text(row["family_ids"]).replace(";", ", "),
        )
        for row in planned.to_dict("records")
    )
    heads = ("Site", "Step", "Number", "Families")
    return Part(
        title,
        f"{counted(len(planned), 'group session', 'group sessions')}: families at one site that "
        "probably miss the same step too often.",
        tables=(Table("Group sessions", heads, rows),),
    )


def _effect(data: ReportData) -> Part:
    now = data.now
    found = refreshers(practice(now.timeline, now.records, now.policy), now.records)
    title = "Did refreshers help?"
    seen = taught(found)
    seen = seen[(seen["families"] > 0).to_numpy(dtype=bool)]
    if seen.empty:
        return Part(title, "No family has enough entries before and after a refresher.")
    rows, points = [], []
    for row in seen.to_dict("records"):
        name = step_words(row["step"], now.edition)
        ratio, lower, upper = (float(row[f"adjusted_{c}"]) for c in ("ratio", "lower", "upper"))
        points.append(Point(name, ratio, lower, upper))
        rows.append((sentence(name)[:-1], *_effect_cells(row)))
    sure = [
        step_words(r["step"], now.edition)
        for r in seen.to_dict("records")
        if r["adjusted_upper"] < 1
    ]
    answer = (
        f"Less was missed than after similar bad periods without a refresher: {', '.join(sure)}."
        if sure
        else "Refreshers made no measurable difference compared with similar bad periods without "
        "one."
    )
    heads = ("Step", "Families", "Before and after", "Against similar bad periods", "Missed")
    limited = [p for p in points if math.isfinite(p.lower) and math.isfinite(p.upper)]
    chart = figures.ranges(
        limited,
        "share missed after a refresher / after similar bad periods without one",
        reference=1.0,
        named="no effect",
        ratio=True,
    )
    return Part(
        title,
        answer,
        Figure(
            chart,
            "Dot: ratio; bar: 95 % limits; left of the dashed line: less missed. Steps without "
            "limits are only in the table.",
        )
        if limited
        else None,
        (Table("Ratio of the share missed, 95 % limits", heads, tuple(rows)),),
        (
            (
                "Families are retrained after a bad period and would improve anyway (regression to the "
                "mean), so the before-and-after ratio alone shows an effect where there is none."
            ),
            *filter(None, [control_sentence(found)]),
        ),
    )


def _effect_cells(row: Any) -> tuple[str, ...]:
    before, after = ((row[f"missed_{w}"], row[f"seen_{w}"]) for w in ("before", "after"))
    return (
        families(int(row["families"])).split()[0],
        _ratio(row, "own"),
        _ratio(row, "adjusted"),
        f"{before[0]} of {before[1]}, then {after[0]} of {after[1]}",
    )


def _ratio(row: Any, which: str) -> str:
    value = number(row[f"{which}_ratio"])
    if pd.isna(row[f"{which}_lower"]):
        return f"{value}, no limits"
    return f"{value} ({limits(row[f'{which}_lower'], row[f'{which}_upper'])})"
