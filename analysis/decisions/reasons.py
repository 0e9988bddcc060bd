"""Which reasons to call does a morning give, line by line, and which rows show each?

One function for each reason of definitions §7. It returns the lines or families for which the
reason holds, with its data (days, counts, names; `sentences` puts them in words), and the
stored rows that show it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.day import Day, holds_code
from analysis.decisions.joined_text import joined_by
from analysis.decisions.practice import demonstrated, is_current
from analysis.policy import Settings
from analysis.tables.calls import CALL_EVIDENCE
from analysis.tables.codes import is_among
from analysis.vocabulary import (
    NOTHING_SEEN,
    EntryKind,
    FindingMark,
    Reason,
    State,
    Task,
)


@dataclass(frozen=True)
class Found:
    """Reasons of one kind: one row a line or family; and the rows that show them."""

    reasons: pd.DataFrame
    """family_id, line_id, and those of the data columns of `CALL_REASONS` that apply."""
    evidence: pd.DataFrame
    """family_id, line_id, table, row."""


NOTHING = Found(
    pd.DataFrame({name: pd.array([], dtype="string") for name in ("family_id", "line_id")}),
    CALL_EVIDENCE.empty()[["family_id", "line_id", "row", "table"]],
)
"""A reason that no line or family has, found at once where few lines are asked about."""


def flagged_entries(day: Day) -> pd.DataFrame:
    """The recent log entries with a red flag: family_id, line_id, done_on, row, received_at, findings."""
    flags = day.edition.codes_marked(FindingMark.RED_FLAG)
    entries = day.entries(day.edition.settings.red_flag_days)
    entries = entries[holds_code(entries["findings"], flags)]
    names = ["family_id", "line_id", "done_on", "row", "received_at", "findings"]
    return entries[names].reset_index(drop=True)


def unanswered_flags(day: Day, entries: pd.DataFrame) -> Found:
    """Those of `flagged_entries` that no call has answered, as the reason that they are."""
    flags = day.edition.codes_marked(FindingMark.RED_FLAG)
    answered = entries["received_at"] < entries["family_id"].map(day.reached_at)
    entries = entries[~answered.to_numpy(dtype=bool)].sort_values(["line_id", "done_on", "row"])
    # Before: one row an entry with a red flag; after: one row a line.
    entries = entries.reset_index(drop=True)
    labels = day.labels(entries["findings"], flags).str.split(";").explode()
    reasons = _names_by_line(entries, labels, ", ")
    seen = pd.DataFrame(
        {n: entries[n].reindex(labels.index) for n in ("line_id", "done_on")}
    ).assign(label=labels)
    by_line = seen.drop_duplicates().groupby("line_id", observed=True)["done_on"]
    days = by_line.agg(["min", "max", "size"])
    for name, column in (("first_on", "min"), ("seen_on", "max"), ("number", "size")):
        reasons[name] = reasons["line_id"].map(days[column])
    return Found(reasons, _proof("home_log", entries))


def _red_flag(day: Day) -> Found:
    return unanswered_flags(day, flagged_entries(day))


def _names_by_line(rows: pd.DataFrame, names: pd.Series[Any], mark: str) -> pd.DataFrame:
    """One row a line with the different names of its rows: family_id, line_id, names."""
    keys = {name: rows[name].reindex(names.index) for name in ("family_id", "line_id")}
    return joined_by(keys, names, mark).rename(columns={"joined": "names"})


def _compromised(day: Day) -> Found:
    care = day.care(Task.DRESSING)
    care = care[care["state"] == State.COMPROMISED].reset_index(drop=True)
    if care.empty:
        return NOTHING
    log = day.records.home_log
    log = log[np.isin(log["row"].to_numpy(), care["report_row"].to_numpy())]
    report = log.set_index("row").reindex(care["report_row"])
    care["seen_on"] = report["done_on"].to_numpy()
    by_condition = report["dressing_condition"].astype("string")
    by_reason = report["change_reason"].astype("string")
    seen = by_condition.where(by_condition.isin(["loose", "damp", "soiled"]), by_reason)
    care["names"] = pd.Series(seen.to_numpy(), dtype="string").fillna("loose, damp or soiled")
    return Found(care, _proof("home_log", care.rename(columns={"report_row": "row"})))


def _overdue(day: Day) -> Found:
    care = day.care(Task.DRESSING)
    late = (care["state"] == State.OVERDUE) & (
        care["days_overdue"] >= day.edition.settings.overdue_call_days
    )
    return _overdue_of(day, care[late.to_numpy(dtype=bool)])


def _overdue_of(day: Day, care: pd.DataFrame) -> Found:
    if care.empty:
        return NOTHING
    silent = day.timeline.families.set_index("family")["silent"]
    care = care.reset_index(drop=True).assign(
        not_logged=care["family"].map(silent).to_numpy(dtype=bool),
    )
    by_log = (care["change_row"] >= 0).to_numpy()
    proof = _proof("home_log", care[by_log].rename(columns={"change_row": "row"}))
    if not by_log.all():
        clinic = _clinic_proof(day, care[~by_log], "last_change_on", "dressing_on")
        proof = pd.concat([proof, clinic])
    return Found(care, proof)


def _clinic_proof(day: Day, care: pd.DataFrame, on: str, stay_day: str) -> pd.DataFrame:
    """Rows of the clinic that show day `on`: a stay with that day, else the line's own row."""
    care = care[["family_id", "line_id", "child_id", on]]
    stays = day.records.stays[["child_id", stay_day, "row"]]
    by_stay = care.merge(stays, left_on=["child_id", on], right_on=["child_id", stay_day])
    rest = care[~care["line_id"].isin(by_stay["line_id"])]
    by_line = rest.assign(row=rest["line_id"].map(day.line_rows))
    return pd.concat([_proof("stays", by_stay), _proof("lines", by_line)])


def _overdue_task(task: Task) -> Callable[[Day], Found]:
    def find(day: Day) -> Found:
        care = day.care(task)
        return _overdue_of(day, care[care["state"] == State.OVERDUE])

    return find


def _skin_event_open(day: Day) -> Found:
    codes = day.edition.codes_marked(FindingMark.SKIN_EVENT)
    entries = day.entries(day.edition.settings.skin_open_days)
    skin = entries[holds_code(entries["findings"], codes)]
    if skin.empty:
        return NOTHING
    newest = skin.groupby("line_id", observed=True)["done_on"].max()
    clear = entries[holds_code(entries["findings"], {NOTHING_SEEN})]
    cleared = clear.groupby("line_id", observed=True)["done_on"].max()
    open_ = newest[~(cleared.reindex(newest.index) > newest).to_numpy(dtype=bool)]
    rows = skin[(skin["done_on"] == skin["line_id"].map(open_)).to_numpy(dtype=bool)]
    labels = day.labels(rows["findings"], codes).str.split(";").explode()
    reasons = _names_by_line(rows, labels, ", ")
    reasons["seen_on"] = reasons["line_id"].map(open_)
    return Found(reasons, _proof("home_log", rows))


def _silent(day: Day) -> Found:
    families = day.timeline.families
    at_home = is_among(families["family_id"], day.lines["family_id"])
    quiet = families[families["silent"].to_numpy(dtype=bool) & at_home].reset_index(drop=True)
    if quiet.empty:
        return NOTHING
    heard = quiet[quiet["heard_row"] >= 0].rename(columns={"heard_row": "row"})
    return Found(quiet.assign(line_id=None), _proof("home_log", heard.assign(line_id=None)))


def _state_unknown(day: Day) -> Found:
    care = day.care(Task.DRESSING)
    long = care["unknown_since"] <= day.since(day.edition.settings.unknown_call_days)
    care = care[(long & (care["state"] == State.UNKNOWN)).to_numpy(dtype=bool)]
    if care.empty:
        return NOTHING
    care = care.reset_index(drop=True).assign(seen_on=care["unknown_since"].to_numpy())
    return Found(care, _clinic_proof(day, care, "unknown_since", "to_on"))


def _early_failures(day: Day) -> Found:
    settings = day.edition.settings
    spans = day.dressing_intervals
    worn = (spans["reported_on"] - spans["start_on"]).dt.days
    enough = settings.early_failure_share * spans["interval_days"].astype("Float64")
    early = (worn < enough).fillna(False).to_numpy(dtype=bool)
    if not early.any():
        return NOTHING
    # Before: one row an interval; after: one row a home change with the interval it ended.
    changes = spans.loc[spans["by_home"], ["line", "start_on"]]
    last = changes.groupby("line").tail(settings.early_failures_of)
    ended = spans.loc[early & (spans["ended_by"] == "change").to_numpy()]
    failed = last.merge(
        ended[["line", "end_on", "report_row"]],
        left_on=["line", "start_on"],
        right_on=["line", "end_on"],
    )
    reasons = _counted_by_line(day, failed, last)
    reasons = reasons[reasons["number"] >= settings.early_failures].reset_index(drop=True)
    proof = failed[failed["line"].isin(reasons["line"])].rename(columns={"report_row": "row"})
    return Found(reasons, _proof("home_log", day.named(proof)))


def _late_pattern(day: Day) -> Found:
    settings = day.edition.settings
    spans = day.dressing_intervals
    last = spans[spans["scored"]].groupby("line").tail(settings.late_pattern_of)
    late = last[~last["on_time"].to_numpy(dtype=bool)]
    if late.empty:
        return NOTHING
    reasons = _counted_by_line(day, late, last)
    on_time = 1 - reasons["number"] / reasons["out_of"]
    often = (on_time < settings.late_pattern_share) & (
        reasons["out_of"] >= settings.late_pattern_min
    )
    reasons = reasons[often.to_numpy(dtype=bool)].reset_index(drop=True)
    proof = late[late["line"].isin(reasons["line"])]
    # The late change shows it; where none came, the change before it does.
    proof = proof.assign(row=proof["end_row"].where(proof["end_row"] >= 0, proof["row"]))
    return Found(reasons, _proof("home_log", day.named(proof[proof["row"] >= 0])))


def _counted_by_line(day: Day, hits: pd.DataFrame, checked: pd.DataFrame) -> pd.DataFrame:
    """One row a line with at least one hit: its codes, number of hits, and out of how many."""
    out_of = checked.groupby("line").size()
    found = hits.groupby("line").size().rename("number").reset_index()
    return day.named(found.assign(out_of=found["line"].map(out_of)))


def _kits_short(day: Day) -> Found:
    log, when = day.log, ["family_id", "done_on", "done_at"]
    on, by_then = log["done_on"].to_numpy(), (log["done_on"] <= day.now).to_numpy()
    counting = log["kits_left"].notna().to_numpy() & by_then
    entries = log.loc[counting, [*when, "kits_left", "row"]]
    entries = entries[is_among(entries["family_id"], day.lines["family_id"])]
    entries = entries.sort_values(["done_on", "done_at", "row"], na_position="first")
    counts = entries.drop_duplicates("family_id", keep="last")
    counts = counts[_believed(day, counts)]
    # Changes since the oldest of the counts are enough.
    changed = (log["kind"] == EntryKind.DRESSING_CHANGE).to_numpy(dtype=bool) & by_then
    changed &= on >= counts["done_on"].min().to_datetime64()
    changes = log.loc[changed, [*when, "line_id"]]
    changes = changes.merge(counts[when], on="family_id", suffixes=("", "_counted"))
    later = (changes["done_on"] > changes["done_on_counted"]) | (
        (changes["done_on"] == changes["done_on_counted"])
        & (changes["done_at"] > changes["done_at_counted"])
    )
    # Several rows of one line and date are one change.
    used = changes[later.to_numpy(dtype=bool)].drop_duplicates(["line_id", "done_on"])
    counts["used"] = (
        counts["family_id"].map(used.groupby("family_id", observed=True).size()).fillna(0)
    ).astype("int64")
    left = (counts["kits_left"].astype("int64") - counts["used"]).clip(lower=0)
    short = counts.assign(left=left)[(left < day.edition.settings.kits_low).to_numpy(dtype=bool)]
    short = short.reset_index(drop=True)
    short = short.assign(seen_on=short["done_on"])
    return Found(short.assign(line_id=None), _proof("home_log", short.assign(line_id=None)))


def _believed(day: Day, counts: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Whether each kit count still holds: the next delivery has not come.

    A delivery comes `kit_delivery_days` after the count, the fewest of the family's lines at
    home; where that is not known, `kits_count_valid_days` after it.
    """
    lines = day.records.lines
    family = lines["line_id"].map(day.lines.set_index("line_id")["family_id"])
    every = lines["kit_delivery_days"].groupby(family).min()
    valid = counts["family_id"].map(every).fillna(day.edition.settings.kits_count_valid_days)
    age = (day.now - counts["done_on"]).dt.days
    return (age.to_numpy() < valid.to_numpy(dtype=np.int64)).astype(np.bool_)


def _no_sign_off(day: Day) -> Found:
    settings = day.edition.settings
    entries = day.entries(settings.sign_off_recent_days)
    changes = changes_without_sign_off(entries, day.records.sign_offs, settings)
    if changes.empty:
        return NOTHING
    changes = changes.sort_values(["line_id", "caregiver_id", "row"])
    reasons = _names_by_line(changes, changes["caregiver_id"], ", ")
    return Found(reasons, _proof("home_log", changes))


def changes_without_sign_off(
    entries: pd.DataFrame, sign_offs: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """The dressing changes among entries whose caregiver had no sign-off in force on their day."""
    by_name = (entries["kind"] == EntryKind.DRESSING_CHANGE) & entries["caregiver_id"].notna()
    changes = demonstrated(entries[by_name.to_numpy(dtype=bool)], sign_offs)
    return changes[~is_current(changes, changes["done_on"], settings)]


FINDERS: dict[Reason, Callable[[Day], Found]] = {
    Reason.RED_FLAG: _red_flag,
    Reason.COMPROMISED: _compromised,
    Reason.OVERDUE: _overdue,
    Reason.SKIN_EVENT_OPEN: _skin_event_open,
    Reason.SILENT: _silent,
    Reason.STATE_UNKNOWN: _state_unknown,
    Reason.EARLY_FAILURES: _early_failures,
    Reason.LATE_PATTERN: _late_pattern,
    Reason.KITS_SHORT: _kits_short,
    Reason.NO_SIGN_OFF: _no_sign_off,
    Reason.OVERDUE_CONNECTOR: _overdue_task(Task.CONNECTOR),
    Reason.OVERDUE_NEEDLE: _overdue_task(Task.NEEDLE),
    Reason.OVERDUE_FLUSH: _overdue_task(Task.FLUSH),
}


def _proof(table: str, rows: pd.DataFrame) -> pd.DataFrame:
    return rows[["family_id", "line_id", "row"]].assign(table=table)
