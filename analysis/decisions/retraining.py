"""Which family and caregiver needs retraining on which step, and who came without a sign-off?"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from analysis.decisions.joined_text import joined_by
from analysis.decisions.practice import (
    EARLY_FAILURE,
    LATE_CHANGE,
    NO_SIGN_OFF,
    SKIN_AFTER_CHANGE,
    demonstrated,
    is_current,
    practice,
)
from analysis.policy import Policy, Settings
from analysis.stats.shrinkage import fit_beta_binomial
from analysis.tables.records import Records
from analysis.tables.retraining import NOT_SIGNED_OFF, RETRAINING
from analysis.timeline import Timeline
from analysis.vocabulary import EntryKind, SignOffOutcome, Skill

STEP_LIMIT = 0.2
"""Share of self-checks above which a step is missed too often: one in five (project choice)."""
SKIN_LIMIT = 0.1
"""Share of changes followed by a skin finding that is too high: one in ten (project choice)."""
LIKELY_PROBABILITY = 0.5
"""A share is probably above its limit from this probability on (project choice)."""

_NOBODY = ""
"""Stands for a blank caregiver while counting; a code is never empty."""


def limit_of(step: str, settings: Settings) -> float:
    """Share missed above which a caregiver misses a step too often.

    Early failures and late changes have the limits of the policy that make them a reason to
    call; the others are constants of this module.

    Examples
    --------
    >>> from datetime import date
    >>> from analysis.policy import shipped_policy
    >>> settings = shipped_policy().on(date(2031, 3, 1)).settings
    >>> limit_of("early_failure", settings), limit_of("mask", settings)
    (0.25, 0.2)
    """
    own = {
        EARLY_FAILURE: min(settings.early_failures / settings.early_failures_of, 1.0),
        LATE_CHANGE: 1 - settings.late_pattern_share,
        SKIN_AFTER_CHANGE: SKIN_LIMIT,
    }
    return own.get(step, STEP_LIMIT)


def retraining(
    timeline: Timeline, records: Records, policy: Policy, since: date | None = None
) -> pd.DataFrame:
    """Find what families and caregivers miss, the most surely above the limit first.

    The share of each caregiver is adjusted towards the programme's for the step: true shares
    follow a beta distribution fitted to all caregivers seen. Families without a line in place
    help to fit it and are not listed. Ties: more missed first, then codes.

    Parameters
    ----------
    timeline, records, policy
        As for :func:`analysis.decisions.practice.practice`.
    since : date, optional
        Leave out occasions before this day; None: all that is known.

    Returns
    -------
    DataFrame
        Columns of `RETRAINING`. With one caregiver, or all alike, everybody has the programme's
        share; without anything missed no rows.

    *Source:* project definition, definitions §8; beta-binomial as in `stats.shrinkage`.
    """
    seen = practice(timeline, records, policy)
    if since is not None:
        seen = seen[(seen["done_on"] >= pd.Timestamp(since)).to_numpy(dtype=bool)]
    return needs_of(seen, timeline, policy)


def needs_of(seen: pd.DataFrame, timeline: Timeline, policy: Policy) -> pd.DataFrame:
    """Do the same for occasions already collected.

    Parameters
    ----------
    seen : DataFrame
        Columns of `PRACTICE`.
    timeline, policy
        As for :func:`retraining`.

    Returns
    -------
    DataFrame
        Columns of `RETRAINING`.
    """
    settings = policy.on(timeline.as_of).settings
    counts = counted(seen)
    shrunk, above = np.full(len(counts), np.nan), np.full(len(counts), np.nan)
    for step, at in counts.groupby("step", observed=True).indices.items():
        if step == NO_SIGN_OFF:
            continue
        missed, out_of = (counts[c].to_numpy()[at] for c in ("missed", "seen"))
        fitted = fit_beta_binomial(missed, out_of)
        shrunk[at] = fitted.posterior_mean(missed, out_of)
        above[at] = fitted.probability_above(limit_of(str(step), settings), missed, out_of)
    counts = counts.assign(shrunk_share=shrunk, prob_above=above)
    in_place = timeline.lines.loc[timeline.lines["end_on"].isna(), "family_id"]
    listed = counts[(counts["missed"] > 0) & counts["family_id"].isin(in_place)]
    listed = listed.merge(_evidence(seen), on=["family_id", "caregiver_id", "step"], how="left")
    listed = listed.sort_values(
        ["prob_above", "missed", "family_id", "caregiver_id", "step"],
        ascending=[False, False, True, True, True],
        ignore_index=True,
    )
    return RETRAINING.check(_named(listed))


def counted(seen: pd.DataFrame) -> pd.DataFrame:
    """Add occasions up by family, caregiver ("" where blank) and step: seen, missed."""
    by = [seen["family_id"], seen["caregiver_id"].fillna(_NOBODY), seen["step"]]
    sums = seen["missed"].astype("int64").groupby(by, observed=True).agg(["size", "sum"])
    return sums.rename(columns={"size": "seen", "sum": "missed"}).astype("int64").reset_index()


def _evidence(seen: pd.DataFrame) -> pd.DataFrame:
    proof = seen[seen["missed"].to_numpy(dtype=bool)].sort_values("row")
    keys = {
        "family_id": proof["family_id"],
        "caregiver_id": proof["caregiver_id"].fillna(_NOBODY),
        "step": proof["step"],
    }
    return joined_by(keys, proof["row"].astype("string"), ";").rename(
        columns={"joined": "evidence"}
    )


def _named(frame: pd.DataFrame) -> pd.DataFrame:
    caregiver = frame["caregiver_id"].astype("string").replace(_NOBODY, pd.NA)
    texts = dict.fromkeys(("family_id", "step", "evidence"), "string")
    return frame.assign(caregiver_id=caregiver).astype(texts)


def not_signed_off(
    timeline: Timeline,
    records: Records,
    policy: Policy,
    skill: Skill = Skill.DRESSING_CHANGE,
) -> pd.DataFrame:
    """List caregivers who recently did what a skill is for without a current sign-off for it.

    Recently: in the policy's `sign_off_recent_days` up to the as-of day. Current is judged on
    the day it was done: newest demonstration by then ``independent`` and not older than
    `sign_off_valid_months`. Why is that of the newest such day.

    Parameters
    ----------
    timeline, records, policy
        As for :func:`retraining`.
    skill : Skill
        What was done: entries of the kind of that name count.

    Returns
    -------
    DataFrame
        Columns of `NOT_SIGNED_OFF`, those who did it most often first.

    *Source:* project definition, definitions §7 (`no_sign_off`) and §8.
    """
    settings = policy.on(timeline.as_of).settings
    now = pd.Timestamp(timeline.as_of)
    log, shown = records.home_log, records.sign_offs
    since = now - pd.Timedelta(days=settings.sign_off_recent_days)
    recent = (log["done_on"] >= since) & (log["done_on"] <= now)
    named = (log["kind"] == EntryKind(str(skill))) & log["caregiver_id"].notna()
    changes = demonstrated(log[(recent & named).to_numpy(dtype=bool)], shown, skill)
    changes = changes[~is_current(changes, changes["done_on"], settings)].sort_values("row")
    # Before: one row a change without a current sign-off; after: one row a caregiver.
    who = ["family_id", "caregiver_id"]
    people = changes.groupby(who, observed=True).agg(
        changes=("row", "size"), last_change_on=("done_on", "max")
    )
    newest = changes.sort_values(["done_on", "row"]).drop_duplicates(who, keep="last")
    people = people.reset_index().merge(newest[[*who, "signed_on", "outcome"]], on=who)
    outcome = people["outcome"].astype("string")
    why = outcome.replace(str(SignOffOutcome.INDEPENDENT), "expired").fillna("never")
    proof = joined_by(
        {"family_id": changes["family_id"], "caregiver_id": changes["caregiver_id"]},
        changes["row"].astype("string"),
        ";",
    )
    people = people.assign(why=why.astype("category"))
    people = people.merge(proof, on=["family_id", "caregiver_id"]).merge(
        sites_of(timeline), on="family_id"
    )
    people = people.rename(columns={"joined": "evidence"}).sort_values(
        ["changes", "family_id", "caregiver_id"], ascending=[False, True, True], ignore_index=True
    )
    types = {"signed_on": "datetime64[s]", "changes": "int64"}
    return NOT_SIGNED_OFF.check(people.astype(types))


def sites_of(timeline: Timeline) -> pd.DataFrame:
    """Sites of the lines in place of each family: family_id, site (joined by ``;``)."""
    lines = timeline.lines[timeline.lines["end_on"].isna()].sort_values("site")
    joined = joined_by({"family_id": lines["family_id"]}, lines["site"], ";")
    return joined.rename(columns={"joined": "site"})
