"""Change by change: was a step done well, by which caregiver, and which row shows it?

One row is one occasion that shows it. Everything on retraining counts these rows.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import days_of
from analysis.decisions.day import holds_code, log_of
from analysis.policy import Policy, Settings
from analysis.tables.records import Records
from analysis.tables.retraining import PRACTICE
from analysis.timeline import Timeline
from analysis.vocabulary import NOTHING_SEEN, EntryKind, FindingMark, SignOffOutcome, Skill, Task

EARLY_FAILURE = "early_failure"
"""A dressing put on at home that was reported loose, damp or soiled early."""
SKIN_AFTER_CHANGE = "skin_after_change"
"""A skin finding on one of the `SKIN_DAYS` days after a change at home."""
LATE_CHANGE = "late_change"
"""A scored dressing interval that was not on time."""
NO_SIGN_OFF = "no_sign_off"
"""A dressing change by a named caregiver without a current sign-off on its day."""

SKIN_DAYS = 3


def practice(timeline: Timeline, records: Records, policy: Policy) -> pd.DataFrame:
    """Return every occasion that shows whether a step was done well.

    - A step of the policy: every entry with a self-check (`steps_missed`); ``none`` means
      that every step was done, a blank means nothing and is no occasion.
    - `early_failure`: dressings put on at home that ended or outlasted the policy's
      `early_failure_share` of their interval; missed: reported before it. Of who put it on.
    - `skin_after_change`: changes at home whose 3 following days are over or brought a skin
      finding; the entry of the change itself looks at the dressing before. Of who changed.
    - `late_change`: scored intervals; missed: late. Of who did the change that ended it.
    - `no_sign_off`: dressing changes by a named caregiver; missed: the newest demonstration up
      to that day is not ``independent``, or older than `sign_off_valid_months`.

    Parameters
    ----------
    timeline : Timeline
        Gives the as-of day and the dressing intervals.
    records : Records
        The records it was made from.
    policy : Policy
        The edition in force on the as-of day decides.

    Returns
    -------
    DataFrame
        Columns of `PRACTICE`, by step and stored row; without entries no rows.

    *Source:* project definition, definitions §8.
    """
    edition = policy.on(timeline.as_of)
    log = log_of(timeline, records)
    log = log[(log["done_on"] <= pd.Timestamp(timeline.as_of)).to_numpy(dtype=bool)]
    spans = timeline.intervals
    spans = spans[(spans["task"] == Task.DRESSING).to_numpy()]
    spans = spans.assign(
        **{c: timeline.lines[c].array.take(spans["line"]) for c in ("family_id", "line_id")}
    )
    skin = log[holds_code(log["findings"], edition.codes_marked(FindingMark.SKIN_EVENT))]
    caregiver = pd.Series(log["caregiver_id"].to_numpy(), index=log["row"])
    parts = [
        _self_checks(log, list(edition.steps)),
        _early_failures(spans, edition.settings, caregiver),
        _skin_after(timeline, spans, skin, caregiver),
        _late_changes(spans, caregiver),
        _changes_without_sign_off(log, records.sign_offs, edition.settings),
    ]
    return _occasions(parts)


def with_sign_offs(
    seen: pd.DataFrame, timeline: Timeline, records: Records, policy: Policy
) -> pd.DataFrame:
    """Return the occasions of `practice` when only the sign-offs have changed since."""
    log = log_of(timeline, records)
    log = log[(log["done_on"] <= pd.Timestamp(timeline.as_of)).to_numpy(dtype=bool)]
    settings = policy.on(timeline.as_of).settings
    others = seen[(seen["step"] != NO_SIGN_OFF).to_numpy(dtype=bool)]
    return _occasions([others, _changes_without_sign_off(log, records.sign_offs, settings)])


def _occasions(parts: list[pd.DataFrame]) -> pd.DataFrame:
    types = {"family_id": "string", "caregiver_id": "string", "step": "string", "row": "int64"}
    seen = pd.concat(parts, ignore_index=True).astype({**types, "missed": "bool"})
    return PRACTICE.check(seen)


def _self_checks(log: pd.DataFrame, known_steps: list[str]) -> pd.DataFrame:
    checks = log[log["steps_missed"].notna().to_numpy()]
    codes = {c for text in checks["steps_missed"].unique() for c in str(text).split(";")}
    steps = [*known_steps, *sorted(codes - {NOTHING_SEEN, *known_steps})]
    parts = [_rows(checks, s, holds_code(checks["steps_missed"], {s})) for s in steps]
    return pd.concat(parts) if parts else _rows(checks, "", np.zeros(len(checks), dtype=bool))


def _rows(occasions: pd.DataFrame, step: str, missed: npt.NDArray[np.bool_]) -> pd.DataFrame:
    columns = ["family_id", "caregiver_id", "done_on", "row"]
    # Texts of one dtype in all parts: millions of them are joined without conversion.
    texts = dict.fromkeys(("family_id", "caregiver_id"), "string")
    named = pd.array([step], dtype="string").take(np.zeros(len(occasions), dtype=np.intp))
    return occasions[columns].astype(texts).assign(step=named, missed=missed)


def _early_failures(
    spans: pd.DataFrame, settings: Settings, caregiver: pd.Series[Any]
) -> pd.DataFrame:
    at_home = spans["by_home"].to_numpy(dtype=bool) & (spans["row"] >= 0).to_numpy()
    own = spans[at_home & spans["interval_days"].notna().to_numpy()]
    long_enough = settings.early_failure_share * own["interval_days"].astype("float64").to_numpy()
    worn = (own["reported_on"] - own["start_on"]).dt.days.to_numpy(dtype=np.float64)
    failed = worn < long_enough  # a blank report is nan, and never less
    lasted = (own["end_on"] - own["start_on"]).dt.days.to_numpy() >= long_enough
    known = failed | lasted | (own["ended_by"] != "as_of").to_numpy()
    own = own.assign(caregiver_id=own["row"].map(caregiver), done_on=own["start_on"])
    own["row"] = own["row"].mask(failed, own["report_row"])
    return _rows(own[known], EARLY_FAILURE, failed[known])


def _skin_after(
    timeline: Timeline, spans: pd.DataFrame, skin: pd.DataFrame, caregiver: pd.Series[Any]
) -> pd.DataFrame:
    own = spans[spans["by_home"].to_numpy(dtype=bool) & (spans["row"] >= 0).to_numpy()]
    # Before: one row a change; after: the same with the first finding of a later day.
    found = pd.merge_asof(
        own.sort_values("start_on"),
        skin[["line_id", "done_on", "row"]].sort_values(["done_on", "row"]),
        left_on="start_on",
        right_on="done_on",
        by="line_id",
        direction="forward",
        allow_exact_matches=False,
        tolerance=pd.Timedelta(days=SKIN_DAYS),
        suffixes=("", "_found"),
    )
    missed = found["row_found"].notna().to_numpy(dtype=bool)
    over = (pd.Timestamp(timeline.as_of) - found["start_on"]).dt.days.to_numpy() > SKIN_DAYS
    found = found.assign(caregiver_id=found["row"].map(caregiver), done_on=found["start_on"])
    found["row"] = found["row_found"].fillna(found["row"]).astype("int64")
    known = missed | over
    return _rows(found[known], SKIN_AFTER_CHANGE, missed[known])


def _late_changes(spans: pd.DataFrame, caregiver: pd.Series[Any]) -> pd.DataFrame:
    scored = spans[spans["scored"].to_numpy(dtype=bool)]
    # A late interval that no change ended is shown by the change that was to be followed.
    by_change = scored["end_row"].to_numpy() >= 0
    scored = scored.assign(
        caregiver_id=scored["end_row"].map(caregiver),
        done_on=scored["end_on"],
        row=scored["end_row"].where(by_change, scored["row"]),
    )
    scored = scored[(scored["row"] >= 0).to_numpy()]
    return _rows(scored, LATE_CHANGE, ~scored["on_time"].to_numpy(dtype=bool))


def _changes_without_sign_off(
    log: pd.DataFrame, sign_offs: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    named = (log["kind"] == EntryKind.DRESSING_CHANGE) & log["caregiver_id"].notna()
    changes = demonstrated(log[named.to_numpy(dtype=bool)], sign_offs)
    return _rows(changes, NO_SIGN_OFF, ~is_current(changes, changes["done_on"], settings))


def demonstrated(
    changes: pd.DataFrame, sign_offs: pd.DataFrame, skill: Skill = Skill.DRESSING_CHANGE
) -> pd.DataFrame:
    """Add to each change its caregiver's newest demonstration of the skill.

    Returns
    -------
    DataFrame
        One row a change, by day: its columns, `signed_on` and `outcome` (blank: none by then).
    """
    if changes.empty:  # nothing to join, and columns read from an empty store cannot be joined
        return changes.assign(**{n: sign_offs[n].iloc[:0].array for n in ("signed_on", "outcome")})
    shown = sign_offs[(sign_offs["skill"] == skill).to_numpy(dtype=bool)]
    return pd.merge_asof(
        changes.sort_values(["done_on", "row"]),
        shown.sort_values(["signed_on", "row"])[["caregiver_id", "signed_on", "outcome"]],
        left_on="done_on",
        right_on="signed_on",
        by="caregiver_id",
    )


def is_current(
    shown: pd.DataFrame, days: pd.Series[Any], settings: Settings
) -> npt.NDArray[np.bool_]:
    """Whether each demonstration (`signed_on`, `outcome`) is a sign-off in force on its day."""
    valid_from = pd.to_datetime(days) - pd.DateOffset(months=settings.sign_off_valid_months)
    alone = (shown["outcome"] == SignOffOutcome.INDEPENDENT).to_numpy(dtype=bool)
    recent = days_of(shown["signed_on"]) >= days_of(valid_from)
    return np.asarray(alone & recent, dtype=bool)
