"""Which families to call today, in what order, why, and which rows show it?

The rules are definitions §7. `reasons` finds each reason, `sentences` puts it in words; here
they become one list of families.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.attempts import reached
from analysis.decisions.day import Day
from analysis.decisions.joined_text import joined_by
from analysis.decisions.reasons import FINDERS, Found, flagged_entries, unanswered_flags
from analysis.decisions.sentences import (
    RULE_ORDER,
    attempt_sentences,
    postponed_sentences,
    reason_sentences,
    with_line,
)
from analysis.policy import Policy
from analysis.tables.calls import CALL_EVIDENCE, CALL_FAMILIES, CALL_REASONS
from analysis.tables.columns import Frame
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import RESTING, Arrangement, Band, Reason, Task

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

COUNTS = ("n_reasons", "days_overdue", "silent_days", "red_flags", "attempt_days")
Ints = npt.NDArray[np.int64]

BY_CALLS = (Reason.RED_FLAG,)
"""Reasons that a recorded call answers; the first in the order of reasons."""

BREAKS_WAITING = (Reason.COMPROMISED, Reason.SKIN_EVENT_OPEN)
"""Reasons that bring a waiting or postponed family back when a row received since shows them.
An unanswered red flag always does."""


@dataclass(frozen=True)
class CallList:
    """Families in calling order, their reasons and the rows that show them; see `tables.calls`."""

    as_of: date
    families: pd.DataFrame
    reasons: pd.DataFrame
    evidence: pd.DataFrame
    order: str = RULE_ORDER
    """Which order is in use within a band, in words."""


@dataclass(frozen=True)
class CareReasons:
    """Reasons that recorded calls do not change, with the rows that show them."""

    reasons: pd.DataFrame
    evidence: pd.DataFrame
    flags: pd.DataFrame
    """As `reasons.flagged_entries`: calls decide which of them are reasons."""


def care_reasons(timeline: Timeline, records: Records, policy: Policy) -> CareReasons:
    """Find the reasons that stay as they are when a call is recorded: all but red flags.

    Parameters
    ----------
    timeline, records, policy
        As for :func:`call_list`; the calls in the records are ignored.

    Returns
    -------
    CareReasons
        To pass to :func:`call_list` for the same day with other calls.
    """
    return _care_reasons(Day(timeline, records, policy.on(timeline.as_of)))


def _care_reasons(day: Day) -> CareReasons:
    found = {reason: find(day) for reason, find in FINDERS.items() if reason not in BY_CALLS}
    return CareReasons(_reasons(found, day.as_of), _evidence(found), flagged_entries(day))


def call_list(
    timeline: Timeline, records: Records, policy: Policy, care: CareReasons | None = None
) -> CallList:
    """Find the families to call on the timeline's as-of day, in the order of the rules.

    Order in `same_day_review`: newest red flag, number of red flags (more first), family code.
    In the other bands: families not tried that day first, then days overdue, number of different
    reasons, silent days (each more first), then family code. A fitted order replaces the latter
    in `decisions.order`. A call without an answer changes neither band nor reasons.

    Parameters
    ----------
    timeline : Timeline
        The timeline of the as-of day.
    records : Records
        The records it was made from, with the calls known.
    policy : Policy
        The edition in force on the as-of day decides.
    care : CareReasons, optional
        What :func:`care_reasons` found for this timeline; without it, it is found here.

    Returns
    -------
    CallList
        `families` (CALL_FAMILIES), `reasons` (CALL_REASONS), `evidence` (CALL_EVIDENCE).

    *Source:* project definition, definitions §7.
    """
    day = Day(timeline, records, policy.on(timeline.as_of))
    care = care or _care_reasons(day)
    found = {Reason.RED_FLAG: unanswered_flags(day, care.flags)}
    # The reasons that calls answer come first in the order of reasons.
    reasons = pd.concat([_reasons(found, timeline.as_of), care.reasons], ignore_index=True)
    evidence = pd.concat([_evidence(found), care.evidence], ignore_index=True)
    reasons = reasons.astype({"reason": "category", "band": "category"})
    families = _families(day, policy.zone, reasons, resting(day, reasons, evidence))
    return CallList(
        as_of=timeline.as_of,
        families=CALL_FAMILIES.check(families),
        reasons=CALL_REASONS.check(reasons),
        evidence=CALL_EVIDENCE.check(evidence.astype({"reason": "category"})),
    )


def _reasons(found: dict[Reason, Found], as_of: date) -> pd.DataFrame:
    """All reasons as `CALL_REASONS`, reason and band still as text; one row a line and reason."""
    sizes = [len(part.reasons) for part in found.values()]
    frame = _stacked(CALL_REASONS, [part.reasons for part in found.values()])
    frame["reason"] = np.repeat([str(reason) for reason in found], sizes).astype(object)
    frame["band"] = np.repeat([str(REASON_BANDS[r]) for r in found], sizes).astype(object)
    return frame.assign(sentence=reason_sentences(frame, as_of))


def _evidence(found: dict[Reason, Found]) -> pd.DataFrame:
    """The rows that show the reasons, as `CALL_EVIDENCE`, reason still as text."""
    sizes = [len(part.evidence) for part in found.values()]
    frame = _stacked(CALL_EVIDENCE, [part.evidence for part in found.values()])
    frame["reason"] = np.repeat([str(reason) for reason in found], sizes).astype(object)
    return frame


def _stacked(frame: Frame, parts: list[pd.DataFrame]) -> pd.DataFrame:
    """One below the other, in the columns of `frame`; a column that a part lacks is blank in it.

    As `pd.concat` does it, at a small part of its time for many short parts.
    """
    ends = np.cumsum([len(part) for part in parts])
    columns = {}
    for column in frame.columns:
        if column.dtype == "bool":
            cells: Any = np.zeros(ends[-1], dtype=np.bool_)
        elif column.dtype == "int64":
            cells = np.zeros(ends[-1], dtype=np.int64)
        else:
            text = column.dtype == "category"
            cells = pd.array([None] * ends[-1], dtype="string" if text else column.dtype)
        for part, end in zip(parts, ends, strict=True):
            if len(part) and column.name in part:
                cells[end - len(part) : end] = part[column.name].array
        columns[column.name] = cells
    return pd.DataFrame(columns)


def resting(day: Day, reasons: pd.DataFrame, evidence: pd.DataFrame) -> pd.DataFrame:
    """One row a family that was called or is postponed: family_id, band, row, recheck_on, sentence.

    The newest of its postponements and calls that reached it decides. Neither holds against a red flag that no
    call has answered, nor against what `BREAKS_WAITING` names and was received after it.
    """
    postponed = day.arrangements[
        (day.arrangements["kind"] == Arrangement.SET_ASIDE).to_numpy(dtype=bool)
    ]
    postponed = postponed.rename(columns={"until_on": "recheck_on"}).assign(
        band=str(Band.SET_ASIDE)
    )
    # The reason typed in is a note: it stays out of the sentence, which is exported.
    postponed["sentence"] = postponed_sentences(
        postponed["recheck_on"], postponed["made_by"], day.as_of
    )
    calls = day.calls[reached(day.calls)]
    nothing = pd.Series(pd.NA, index=calls.index, dtype="string")
    calls = calls.assign(band=str(Band.WAITING), sentence=nothing)
    calls = calls.rename(columns={"called_at": "made_at"})
    names = ["family_id", "made_at", "row", "recheck_on", "band", "sentence"]
    acts = pd.concat(
        [calls[names], postponed[names].astype({"sentence": "string"})], ignore_index=True
    )
    acts = acts.sort_values(["made_at", "band", "row"])
    newest = acts.groupby("family_id", observed=True).tail(1)
    newest = newest[newest["recheck_on"] > day.now]
    flagged = reasons.loc[reasons["reason"] == Reason.RED_FLAG, "family_id"]
    proof = evidence[evidence["reason"].isin([str(r) for r in BREAKS_WAITING])]
    proof = proof.merge(newest[["family_id", "made_at"]], on="family_id")
    if len(proof):  # the log is long
        log = day.records.home_log
        shown = np.isin(log["row"].to_numpy(), proof["row"].to_numpy())
        proof = proof.merge(log.loc[shown, ["row", "received_at"]], on="row")
        proof = proof[(proof["received_at"] > proof["made_at"]).to_numpy(dtype=bool)]
    stay = ~newest["family_id"].isin(pd.concat([flagged, proof["family_id"]]))
    return newest.loc[stay.to_numpy(dtype=bool)].drop(columns="made_at")


def _assigned(day: Day) -> pd.Series[str]:
    """Who makes the next call, by family: the newest assignment that no call has reached.

    A call with no answer leaves it in force.
    """
    made = day.arrangements[(day.arrangements["kind"] == Arrangement.ASSIGNED).to_numpy(dtype=bool)]
    made = made.groupby("family_id", observed=True).tail(1)
    done = (made["family_id"].map(day.reached_at) >= made["made_at"]).to_numpy(dtype=bool)
    return made[~done].set_index("family_id")["assigned_to"]


def _families(
    day: Day, zone: ZoneInfo, reasons: pd.DataFrame, resting: pd.DataFrame
) -> pd.DataFrame:
    """One row a family with a reason or one that rests, in calling order."""
    families = _with_reasons(reasons, with_line(reasons, day.timeline.lines))
    families = families.reindex(families.index.union(pd.Index(resting["family_id"]), sort=False))
    listed = families.index
    attempts = day.attempts[["tried_at", "tried_on", "attempt_days"]].reindex(listed)
    families = pd.concat([families, _about(day, listed), attempts], axis=1)
    families["assigned_to"] = _assigned(day).reindex(listed).astype("string")
    rest = resting.set_index("family_id").reindex(listed)
    families = families.rename_axis("family_id").reset_index()
    rest = rest.reset_index(drop=True)
    rests = rest["band"]
    families["recheck_on"] = rest["recheck_on"].astype("datetime64[s]")
    row = rest["row"].fillna(-1).astype("int64")
    families["call_row"] = row.where((rests == Band.WAITING).to_numpy(dtype=bool), -1)
    families["aside_row"] = row.where((rests == Band.SET_ASIDE).to_numpy(dtype=bool), -1)
    families["sentence"] = _both(rest["sentence"], families["sentence"])
    place = families["urgency"].fillna(-1).astype("int64")
    for band in RESTING:
        place = place.mask((rests == band).to_numpy(dtype=bool), list(Band).index(band))
    bands = np.array([str(band) for band in Band])[place.to_numpy(dtype=np.int64)]
    families["band"] = pd.Categorical(bands, categories=[str(band) for band in Band])
    tried = families["tried_on"] == day.now
    families["attempts"] = attempt_sentences(
        families, tried, zone, day.as_of, day.edition.settings.attempts_before_escalation
    )
    families["sentence"] = _both(families["attempts"], families["sentence"])
    for name in COUNTS:
        families[name] = families[name].fillna(0).astype("int64")
    families = _in_calling_order(families, place, day)
    rank = pd.Series(np.arange(1, len(families) + 1), dtype="Int64")
    families["expected_share"] = np.nan
    families["rank"] = rank.mask(families["band"].isin([str(b) for b in RESTING]).to_numpy())
    texts = dict.fromkeys(
        ("family_id", "reasons", "sentence", "line_ids", "nurse", "site"), "string"
    )
    types = {"last_heard_on": "datetime64[s]", "red_flag_on": "datetime64[s]"}
    types |= {"tried_at": "datetime64[us]", "tried_on": "datetime64[s]"}
    return families.astype({**texts, **types})[CALL_FAMILIES.names]


def _in_calling_order(families: pd.DataFrame, place: pd.Series[int], day: Day) -> pd.DataFrame:
    """Families in calling order; `place` is that of their band."""
    red = (families["band"] == Band.SAME_DAY_REVIEW).to_numpy(dtype=bool)
    since_flag = (day.now - families["red_flag_on"]).dt.days.fillna(0)
    keys = {
        "place": place,
        "back": families["recheck_on"],
        "tried": (families["tried_on"] == day.now) & ~red,
        "first": since_flag.where(red, -families["days_overdue"]),
        "second": -families["red_flags"].where(red, families["n_reasons"]),
        "third": -families["silent_days"].mask(red, 0),
        "family_id": families["family_id"],
    }
    order = pd.DataFrame(keys).sort_values(list(keys)).index
    return families.loc[order].reset_index(drop=True)


def _both(first: pd.Series[Any], second: pd.Series[Any]) -> pd.Series[str]:
    """Two columns of texts joined, where both are there."""
    first, second = first.astype("string"), second.astype("string")
    return (first + " " + second).fillna(first).fillna(second)


def _by_family(family: pd.Series[Any], texts: pd.Series[Any], mark: str) -> pd.Series[Any]:
    return joined_by({"family_id": family}, texts, mark).set_index("family_id")["joined"]


def _with_reasons(reasons: pd.DataFrame, sentences: pd.Series[str]) -> pd.DataFrame:
    """One row a family with a reason, by family code, in order of its first reason."""
    of, by_line = reasons["family_id"], reasons.sort_values("line_id")
    family, listed = pd.factorize(of)
    n = len(listed)
    band, bands = pd.factorize(reasons["band"])
    order = [str(band) for band in Band]
    urgency = np.full(n, len(order), dtype=np.int64)
    place = np.array([order.index(str(b)) for b in bands], dtype=np.int64)
    np.minimum.at(urgency, family, place[band])
    reason, kinds = pd.factorize(reasons["reason"])
    different = np.unique(family * (len(kinds) + 1) + reason) // (len(kinds) + 1)
    flagged = (reasons["reason"] == Reason.RED_FLAG).to_numpy(dtype=bool)
    flags = reasons[flagged].groupby("family_id")
    found = pd.DataFrame(
        {
            "urgency": urgency,
            "n_reasons": np.bincount(different, minlength=n),
        },
        index=pd.Index(listed, dtype="string"),
    )
    return found.assign(
        reasons=_by_family(of, reasons["reason"], ";"),
        sentence=_by_family(of, sentences, " "),
        line_ids=_by_family(by_line["family_id"], by_line["line_id"], ";"),
        red_flag_on=flags["seen_on"].max(),
        red_flags=flags["number"].sum(),
    )


def _about(day: Day, listed: pd.Index[Any]) -> pd.DataFrame:
    """What is shown of each listed family next to its reasons, by family code."""
    lines = day.lines[day.lines["family_id"].isin(listed).to_numpy(dtype=bool)]
    about = day.timeline.families.set_index("family_id")[["silent_days", "last_heard_on"]]
    about = about.reindex(listed)
    overdue = day.care(Task.DRESSING).groupby("family_id")["days_overdue"].max()
    about["days_overdue"] = overdue.reindex(listed)
    for column in ("nurse", "site"):
        in_order = lines[["family_id", column]].sort_values(column)
        named = _by_family(in_order["family_id"], in_order[column], ";")
        about[column] = named.reindex(listed)
    return about
