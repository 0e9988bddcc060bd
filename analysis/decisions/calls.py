"""Which families to call today, in what order, why, and which rows prove it?

The rules are definitions §7. Every reason is found by its own small function; each returns
one row a line (or family) with the sentence, and the stored rows that prove it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.wording import counted, day_words
from analysis.policy import Edition, Policy
from analysis.tables.calls import CALL_EVIDENCE, CALL_FAMILIES, CALL_REASONS
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import (
    NOTHING_SEEN,
    Band,
    EntryKind,
    FindingMark,
    Reason,
    SignOffOutcome,
    Skill,
    State,
    Task,
)

REASON_BANDS = {
    Reason.RED_FLAG: Band.SAME_DAY_REVIEW,
    Reason.COMPROMISED: Band.CALL_TODAY,
    Reason.OVERDUE: Band.CALL_TODAY,
    Reason.SKIN_EVENT_OPEN: Band.CALL_TODAY,
    Reason.SILENT: Band.CALL_THIS_WEEK,
    Reason.STATE_UNKNOWN: Band.CALL_THIS_WEEK,
    Reason.EARLY_FAILURES: Band.CALL_THIS_WEEK,
    Reason.LATE_PATTERN: Band.CALL_THIS_WEEK,
    Reason.KITS_SHORT: Band.CALL_THIS_WEEK,
    Reason.NO_SIGN_OFF: Band.CALL_THIS_WEEK,
    Reason.OVERDUE_CONNECTOR: Band.CALL_THIS_WEEK,
    Reason.OVERDUE_NEEDLE: Band.CALL_THIS_WEEK,
    Reason.OVERDUE_FLUSH: Band.CALL_THIS_WEEK,
}
"""Band that each reason gives."""

BREAKS_WAITING = (Reason.COMPROMISED, Reason.SKIN_EVENT_OPEN)
"""Reasons that end the waiting after a call when their proof came in after it. An unanswered
red flag always does."""


@dataclass(frozen=True)
class CallList:
    """Families in calling order with reasons and proof; see `tables.calls` for columns."""

    as_of: date
    families: pd.DataFrame
    reasons: pd.DataFrame
    evidence: pd.DataFrame


@dataclass(frozen=True)
class _Found:
    """Reasons of one kind: one row a line or family; and the rows that prove them."""

    reasons: pd.DataFrame  # family_id, line_id, sentence
    evidence: pd.DataFrame  # family_id, line_id, table, row


def call_list(timeline: Timeline, records: Records, policy: Policy) -> CallList:
    """Find the families to call on the timeline's as-of day, in calling order.

    Order within a band: days overdue, number of different reasons, silent days (each more
    first), then family code. A call on which nobody was reached lets the family wait but
    does not answer a red flag.

    Parameters
    ----------
    timeline : Timeline
        The timeline of the as-of day.
    records : Records
        The records it was made from, with the calls known.
    policy : Policy
        The edition in force on the as-of day decides.

    Returns
    -------
    CallList
        `families` (CALL_FAMILIES), `reasons` (CALL_REASONS), `evidence` (CALL_EVIDENCE).

    *Source:* project definition, definitions §7.
    """
    day = _Day(timeline, records, policy.on(timeline.as_of))
    found = {reason: find(day) for reason, find in _FINDERS.items()}
    reasons = _stack({r: f.reasons for r, f in found.items()})
    evidence = _stack({r: f.evidence for r, f in found.items()})
    reasons["band"] = reasons["reason"].map(REASON_BANDS)
    waiting = _waiting(day, reasons, evidence)
    families = _families(day, reasons, waiting)
    return CallList(
        as_of=timeline.as_of,
        families=CALL_FAMILIES.check(families),
        reasons=CALL_REASONS.check(_typed(reasons, CALL_REASONS.names)),
        evidence=CALL_EVIDENCE.check(_typed(evidence, CALL_EVIDENCE.names)),
    )


@dataclass(frozen=True)
class _Day:
    """What the finders look at: lines at home, the entries known and dated up to the day."""

    timeline: Timeline
    records: Records
    edition: Edition

    @property
    def as_of(self) -> date:
        return self.timeline.as_of

    @property
    def now(self) -> pd.Timestamp:
        return pd.Timestamp(self.as_of)

    def since(self, days: int) -> pd.Timestamp:
        return self.now - pd.Timedelta(days=days)

    @cached_property
    def lines(self) -> pd.DataFrame:
        """One row a line at home."""
        lines = self.timeline.lines
        return lines[lines["at_home"]]

    @cached_property
    def family_entries(self) -> pd.DataFrame:
        """One row a home-log entry of a family with a line at home, dated up to the day."""
        log = self.records.home_log
        known = (log["done_on"] <= self.now) & log["family_id"].isin(self.lines["family_id"])
        return log[known.to_numpy(dtype=bool)]

    @cached_property
    def entries(self) -> pd.DataFrame:
        """One row a home-log entry of a line at home, dated up to the as-of day."""
        log = self.family_entries
        return log[log["line_id"].isin(self.lines["line_id"]).to_numpy(dtype=bool)]

    @cached_property
    def calls(self) -> pd.DataFrame:
        """One row a recorded call, made up to the as-of day, oldest first."""
        calls = self.records.calls
        return calls[calls["made_on"] <= self.now].sort_values(["made_at", "row"])

    def care(self, task: Task) -> pd.DataFrame:
        """One row a line at home with the state of the task."""
        care = self.timeline.care
        return care[care["task"] == task].merge(
            self.lines[["line", "line_id", "family_id", "family", "unknown_since"]], on="line"
        )

    def dressing_intervals(self) -> pd.DataFrame:
        """One row a dressing interval of a line at home, oldest first."""
        spans = self.timeline.intervals
        spans = spans[(spans["task"] == Task.DRESSING)]
        return spans.merge(self.lines[["line", "line_id", "family_id"]], on="line").sort_values(
            ["line", "start_on"]
        )

    def saying(self, codes: Iterable[str]) -> npt.NDArray[np.bool_]:
        """Whether each entry's findings hold one of the codes."""
        return holds_code(self.entries["findings"], codes)

    def words(self, days: pd.Series[Any]) -> pd.Series[str]:
        return day_words(days, self.as_of)


def holds_code(texts: pd.Series[Any], codes: Iterable[str]) -> npt.NDArray[np.bool_]:
    """Whether each text of codes joined by ``;`` holds one of `codes`; blank holds none.

    Works on the distinct texts, of which there are few.

    Examples
    --------
    >>> list(holds_code(pd.Series(["redness;itch", "none", None]), {"itch"}))
    [True, False, False]
    """
    wanted = frozenset(codes)
    which, distinct = pd.factorize(texts)
    holds = np.array([not wanted.isdisjoint(str(t).split(";")) for t in distinct], dtype=bool)
    return np.append(holds, False)[which]


def _red_flag(day: _Day) -> _Found:
    flags = day.edition.codes_marked(FindingMark.RED_FLAG)
    entries = day.entries[day.saying(flags)]
    entries = entries[entries["done_on"] >= day.since(day.edition.settings.red_flag_days)]
    spoken = day.calls[day.calls["reached"]].groupby("family_id")["made_at"].max()
    answered = entries["received_at"] < entries["family_id"].map(spoken)
    entries = entries[~answered.to_numpy(dtype=bool)].sort_values(["line_id", "done_on", "row"])
    texts = entries["findings"].astype("string")
    labels = {t: _labels(t, flags, day.edition) for t in texts.unique()}
    said = texts.map(labels).astype("string") + " on " + day.words(entries["done_on"])
    told = entries.assign(said=said).groupby(["family_id", "line_id"], observed=True, sort=False)
    reasons = told["said"].agg(_joined).reset_index()
    reasons["sentence"] = (
        "red flag reported: "
        + reasons["said"].astype("string")
        + "; follow the programme's own emergency instruction"
    )
    return _Found(reasons, _proof("home_log", entries))


def _labels(text: str, flags: frozenset[str], edition: Edition) -> str:
    return ", ".join(edition.findings[c].label for c in text.split(";") if c in flags)


def _joined(texts: pd.Series[Any]) -> str:
    return "; ".join(dict.fromkeys(texts))


def _compromised(day: _Day) -> _Found:
    care = day.care(Task.DRESSING)
    care = care[care["state"] == State.COMPROMISED].reset_index(drop=True)
    log = day.records.home_log.set_index("row")
    report = log.reindex(care["report_row"])
    care["seen_on"] = report["done_on"].to_numpy()
    by_condition = report["dressing_condition"].astype("string")
    by_reason = report["change_reason"].astype("string")
    seen = by_condition.where(by_condition.isin(["loose", "damp", "soiled"]), by_reason)
    care["sentence"] = (
        "dressing found "
        + pd.Series(seen.to_numpy(), dtype="string").fillna("loose, damp or soiled")
        + " on "
        + day.words(care["seen_on"])
        + " and no change logged since"
    )
    return _Found(care, _proof("home_log", care.rename(columns={"report_row": "row"})))


def _overdue(day: _Day) -> _Found:
    care = day.care(Task.DRESSING)
    late = (care["state"] == State.OVERDUE) & (
        care["days_overdue"] >= day.edition.settings.overdue_call_days
    )
    return _overdue_of(day, care[late.to_numpy(dtype=bool)], "dressing change", "last changed")


def _overdue_of(day: _Day, care: pd.DataFrame, what: str, last: str) -> _Found:
    care = care.reset_index(drop=True)
    silent = day.timeline.families.set_index("family")["silent"]
    how = np.where(
        care["family"].map(silent).to_numpy(dtype=bool), " overdue or not logged, ", " overdue "
    )
    care["sentence"] = (
        what
        + pd.Series(how, dtype="string")
        + counted(care["days_overdue"], "day", "days")
        + f" ({last} "
        + day.words(care["last_change_on"])
        + ", allowed until "
        + day.words(care["allowed_until"])
        + ")"
    )
    by_log = care["change_row"] >= 0
    logged = _proof("home_log", care[by_log].rename(columns={"change_row": "row"}))
    registered = care[~by_log].merge(day.records.lines[["line_id", "row"]], on="line_id")
    return _Found(care, pd.concat([logged, _proof("lines", registered)]))


def _overdue_task(task: Task, what: str, last: str) -> Callable[[_Day], _Found]:
    def find(day: _Day) -> _Found:
        care = day.care(task)
        return _overdue_of(day, care[care["state"] == State.OVERDUE], what, last)

    return find


def _skin_event_open(day: _Day) -> _Found:
    skin = day.entries[day.saying(day.edition.codes_marked(FindingMark.SKIN_EVENT))]
    newest = skin.groupby("line_id", observed=True)["done_on"].max()
    clear = day.entries[day.saying({NOTHING_SEEN})]
    cleared = clear.groupby("line_id", observed=True)["done_on"].max()
    open_ = newest[newest >= day.since(day.edition.settings.skin_open_days)]
    open_ = open_[~(cleared.reindex(open_.index) > open_).to_numpy(dtype=bool)]
    rows = skin[(skin["done_on"] == skin["line_id"].map(open_)).to_numpy(dtype=bool)]
    texts = rows["findings"].astype("string")
    codes = day.edition.codes_marked(FindingMark.SKIN_EVENT)
    labels = {t: _labels(t, codes, day.edition) for t in texts.unique()}
    told = rows.assign(said=texts.map(labels).astype("string")).groupby(
        ["family_id", "line_id"], observed=True, sort=False
    )
    reasons = told.agg(said=("said", _joined), seen_on=("done_on", "max")).reset_index()
    reasons["sentence"] = (
        "skin finding on "
        + day.words(reasons["seen_on"])
        + " not cleared since: "
        + reasons["said"].astype("string")
    )
    return _Found(reasons, _proof("home_log", rows))


def _silent(day: _Day) -> _Found:
    families = day.timeline.families
    at_home = families["family_id"].isin(day.lines["family_id"])
    quiet = families[(families["silent"] & at_home).to_numpy(dtype=bool)].reset_index(drop=True)
    never = quiet["last_heard_on"].isna()
    since = ("since the entry of " + day.words(quiet["last_heard_on"])).where(
        ~never, "since coming home"
    )
    quiet["sentence"] = "nothing logged for " + counted(quiet["silent_days"], "day", "days")
    quiet["sentence"] += " (" + since + "): not logged is not the same as not done"
    heard = quiet[quiet["heard_row"] >= 0].rename(columns={"heard_row": "row"})
    return _Found(quiet.assign(line_id=None), _proof("home_log", heard.assign(line_id=None)))


def _state_unknown(day: _Day) -> _Found:
    care = day.care(Task.DRESSING)
    long = care["unknown_since"] <= day.since(day.edition.settings.unknown_call_days)
    care = care[(long & (care["state"] == State.UNKNOWN)).to_numpy(dtype=bool)]
    care = care.reset_index(drop=True)
    care["sentence"] = "no dressing change known since coming home on " + day.words(
        care["unknown_since"]
    )
    rows = care.merge(day.records.lines[["line_id", "row"]], on="line_id")
    return _Found(care, _proof("lines", rows))


def _early_failures(day: _Day) -> _Found:
    settings = day.edition.settings
    spans = day.dressing_intervals()
    worn = (spans["reported_on"] - spans["start_on"]).dt.days
    early = worn < settings.early_failure_share * spans["interval_days"].astype("Float64")
    spans["early"] = early.fillna(False).to_numpy(dtype=bool)
    # Before: one row an interval; after: one row a home change with the interval it ended.
    changes = spans.loc[spans["by_home"], ["line", "line_id", "family_id", "start_on", "row"]]
    ended = spans.loc[spans["ended_by"] == "change", ["line", "end_on", "early", "report_row"]]
    changes = changes.merge(
        ended, how="left", left_on=["line", "start_on"], right_on=["line", "end_on"]
    )
    last = changes.groupby("line").tail(settings.early_failures_of)
    failed = last[last["early"].eq(True).to_numpy(dtype=bool, na_value=False)]
    reasons = _counted_by_line(failed, last)
    reasons = reasons[reasons["hits"] >= settings.early_failures].reset_index(drop=True)
    reasons["sentence"] = (
        reasons["hits"].astype("string")
        + " of the last "
        + counted(reasons["of"], "dressing", "dressings")
        + " found loose, damp or soiled early"
    )
    proof = failed[failed["line_id"].isin(reasons["line_id"])].drop(columns="row")
    return _Found(reasons, _proof("home_log", proof.rename(columns={"report_row": "row"})))


def _late_pattern(day: _Day) -> _Found:
    settings = day.edition.settings
    spans = day.dressing_intervals()
    last = spans[spans["scored"]].groupby("line").tail(settings.late_pattern_of)
    late = last[~last["on_time"].to_numpy(dtype=bool)]
    reasons = _counted_by_line(late, last)
    on_time = 1 - reasons["hits"] / reasons["of"]
    often = (on_time < settings.late_pattern_share) & (reasons["of"] >= settings.late_pattern_min)
    reasons = reasons[often.to_numpy(dtype=bool)].reset_index(drop=True)
    reasons["sentence"] = (
        reasons["hits"].astype("string")
        + " of the last "
        + counted(reasons["of"], "change", "changes")
        + " late"
    )
    proof = late[late["line_id"].isin(reasons["line_id"])]
    rows = proof["end_row"].where(proof["end_row"] >= 0, proof["row"])
    proof = proof.assign(row=rows)
    return _Found(reasons, _proof("home_log", proof[proof["row"] >= 0]))


def _counted_by_line(hits: pd.DataFrame, looked_at: pd.DataFrame) -> pd.DataFrame:
    """One row a line with at least one hit: hits, and of how many looked at."""
    of = looked_at.groupby("line").size()
    found = hits.groupby(["line", "line_id", "family_id"], observed=True).size()
    reasons = found.rename("hits").reset_index()
    return reasons.assign(of=reasons["line"].map(of))


def _kits_short(day: _Day) -> _Found:
    entries = day.family_entries.sort_values(["done_on", "done_at", "row"], na_position="first")
    counts = entries[entries["kits_left"].notna()].groupby("family_id", observed=True).tail(1)
    counts = counts[["family_id", "done_on", "done_at", "kits_left", "row"]]
    changes = entries[entries["kind"] == EntryKind.DRESSING_CHANGE].merge(
        counts, on="family_id", suffixes=("", "_counted")
    )
    later = (changes["done_on"] > changes["done_on_counted"]) | (
        (changes["done_on"] == changes["done_on_counted"])
        & (changes["done_at"] > changes["done_at_counted"])
    )
    # Several rows of one line and date are one change.
    used = changes[later.to_numpy(dtype=bool)].drop_duplicates(["line_id", "done_on"])
    counts["used"] = (
        counts["family_id"].map(used.groupby("family_id", observed=True).size()).fillna(0)
    ).astype("int64")
    left = counts["kits_left"].astype("int64") - counts["used"]
    short = counts.assign(left=left)[(left < day.edition.settings.kits_low).to_numpy(dtype=bool)]
    short = short.reset_index(drop=True)
    short["sentence"] = (
        "dressing kits short: "
        + counted(short["kits_left"].astype("int64"), "kit", "kits")
        + " counted on "
        + day.words(short["done_on"])
        + ", "
        + counted(short["used"], "change", "changes")
        + " since"
    )
    return _Found(short.assign(line_id=None), _proof("home_log", short.assign(line_id=None)))


def _no_sign_off(day: _Day) -> _Found:
    settings = day.edition.settings
    recent = day.entries["done_on"] >= day.since(settings.sign_off_recent_days)
    changes = day.entries[
        (
            (day.entries["kind"] == EntryKind.DRESSING_CHANGE)
            & recent
            & day.entries["caregiver_id"].notna()
        ).to_numpy(dtype=bool)
    ]
    changes = changes[~changes["caregiver_id"].isin(signed_off(day, Skill.DRESSING_CHANGE))]
    told = changes.groupby(["family_id", "line_id"], observed=True, sort=False)
    reasons = told["caregiver_id"].agg(_names).reset_index()
    reasons["sentence"] = (
        "dressing changed by "
        + reasons["caregiver_id"].astype("string")
        + " without a current sign-off"
    )
    return _Found(reasons, _proof("home_log", changes))


def _names(texts: pd.Series[Any]) -> str:
    return ", ".join(sorted(set(texts)))


def signed_off(day: _Day, skill: Skill) -> pd.Series[Any]:
    """Caregivers whose newest demonstration of the skill is `independent` and not expired."""
    signed = day.records.sign_offs
    signed = signed[(signed["skill"] == skill) & (signed["signed_on"] <= day.now)]
    newest = signed.sort_values(["signed_on", "row"]).groupby("caregiver_id", observed=True).tail(1)
    valid_from = day.now - pd.DateOffset(months=day.edition.settings.sign_off_valid_months)
    good = (newest["outcome"] == SignOffOutcome.INDEPENDENT) & (newest["signed_on"] >= valid_from)
    return newest.loc[good.to_numpy(dtype=bool), "caregiver_id"]


_FINDERS: dict[Reason, Callable[[_Day], _Found]] = {
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
    Reason.OVERDUE_CONNECTOR: _overdue_task(Task.CONNECTOR, "connector change", "last changed"),
    Reason.OVERDUE_NEEDLE: _overdue_task(Task.NEEDLE, "needle change", "last changed"),
    Reason.OVERDUE_FLUSH: _overdue_task(Task.FLUSH, "flush", "last flushed"),
}


def _proof(table: str, rows: pd.DataFrame) -> pd.DataFrame:
    kept = rows[["family_id", "line_id", "row"]].assign(table=table)
    return kept


def _stack(parts: dict[Reason, pd.DataFrame]) -> pd.DataFrame:
    """Put the reasons' frames below each other with the reason's code as a column."""
    names = ["family_id", "line_id", "sentence", "table", "row"]
    labelled = [
        part[[n for n in names if n in part.columns]]
        .assign(reason=str(reason))
        .astype({"line_id": "string", "family_id": "string"})
        for reason, part in parts.items()
    ]
    return pd.concat(labelled, ignore_index=True)


def _typed(frame: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    types = {"reason": "category", "band": "category", "sentence": "string", "table": "string"}
    known = {n: t for n, t in types.items() if n in names}
    typed = frame[names].astype(known)
    if "row" in names:
        typed = typed.astype({"row": "int64"})
    return typed


def _waiting(day: _Day, reasons: pd.DataFrame, evidence: pd.DataFrame) -> pd.DataFrame:
    """One row a family that waits after its newest call: family_id, row, recheck_on."""
    newest = day.calls.groupby("family_id", observed=True).tail(1)
    newest = newest[newest["recheck_on"] > day.now]
    flagged = reasons.loc[reasons["reason"] == Reason.RED_FLAG, "family_id"]
    proof = evidence[evidence["reason"].isin([str(r) for r in BREAKS_WAITING])]
    proof = proof.merge(day.records.home_log[["row", "received_at"]], on="row")
    proof = proof.merge(newest[["family_id", "made_at"]], on="family_id")
    broken = proof.loc[proof["received_at"] > proof["made_at"], "family_id"]
    stay = ~newest["family_id"].isin(pd.concat([flagged, broken]))
    return newest.loc[stay.to_numpy(dtype=bool), ["family_id", "row", "recheck_on"]]


def _families(day: _Day, reasons: pd.DataFrame, waiting: pd.DataFrame) -> pd.DataFrame:
    """One row a family with a reason or a call it waits on, in calling order."""
    lines_in_place = day.timeline.lines[day.timeline.lines["at_home"]].groupby("family_id").size()
    several = reasons["family_id"].map(lines_in_place).fillna(0) > 1
    named = several & reasons["line_id"].notna()
    said = reasons["sentence"].astype("string")
    said = said.where(~named, "line " + reasons["line_id"] + ": " + said)
    urgency = reasons["band"].map({band: at for at, band in enumerate(Band)}).astype("int64")
    told = reasons.assign(said=said, urgency=urgency).groupby("family_id", sort=False)
    families = told.agg(
        reasons=("reason", lambda codes: ";".join(dict.fromkeys(codes))),
        sentence=("said", _joined),
        line_ids=("line_id", lambda ids: ";".join(sorted(set(ids.dropna())))),
        urgency=("urgency", "min"),
        n_reasons=("reason", "nunique"),
    )
    families = families.reindex(families.index.union(waiting["family_id"], sort=False))
    families.index.name = "family_id"
    families = families.reset_index()
    known = {n: families["family_id"].map(s) for n, s in _about(day).items()}
    families = families.assign(**known)
    call = waiting.set_index("family_id")
    families["recheck_on"] = families["family_id"].map(call["recheck_on"]).astype("datetime64[s]")
    families["call_row"] = families["family_id"].map(call["row"]).fillna(-1).astype("int64")
    waits = families["call_row"] >= 0
    place = (
        families["urgency"].fillna(-1).astype("int64").mask(waits, list(Band).index(Band.WAITING))
    )
    families["band"] = pd.Categorical.from_codes(
        place.to_numpy(dtype=np.int64), categories=[str(b) for b in Band]
    )
    for name in ("n_reasons", "days_overdue", "silent_days"):
        families[name] = families[name].fillna(0).astype("int64")
    families = families.assign(place=place).sort_values(
        ["place", "recheck_on", "days_overdue", "n_reasons", "silent_days", "family_id"],
        ascending=[True, True, False, False, False, True],
        ignore_index=True,
    )
    rank = pd.Series(np.arange(1, len(families) + 1), dtype="Int64")
    families["rank"] = rank.mask((families["band"] == Band.WAITING).to_numpy(dtype=bool))
    texts = dict.fromkeys(
        ("family_id", "reasons", "sentence", "line_ids", "nurse", "site"), "string"
    )
    families["line_ids"] = families["line_ids"].replace("", None)
    return families.astype({**texts, "last_heard_on": "datetime64[s]"})[CALL_FAMILIES.names]


def _about(day: _Day) -> dict[str, pd.Series[Any]]:
    """What is shown of each family beside its reasons, by family code."""
    by_line = day.lines.groupby("family_id")
    families = day.timeline.families.set_index("family_id")
    overdue = day.care(Task.DRESSING).groupby("family_id")["days_overdue"].max()
    return {
        "days_overdue": overdue,
        "silent_days": families["silent_days"],
        "last_heard_on": families["last_heard_on"],
        "nurse": by_line["nurse"].agg(lambda names: ";".join(sorted(set(names.dropna())))),
        "site": by_line["site"].agg(lambda names: ";".join(sorted(set(names)))),
    }
