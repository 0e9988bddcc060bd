"""Which family and caregiver needs retraining on which step, and who came without a sign-off?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import partial

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.counted_practice import KEYS, NOBODY, counted
from analysis.decisions.day import log_of
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
from analysis.measures.snapshot_data import FoundOf, unless_same
from analysis.policy import Policy, Settings
from analysis.stats.averaged_shares import AveragedShares, average_shares
from analysis.stats.inputs import FloatArray
from analysis.tables.records import Records
from analysis.tables.retraining import NOT_SIGNED_OFF, RETRAINING
from analysis.timeline import Timeline
from analysis.vocabulary import EntryKind, NeedState, SignOffOutcome, Skill

STEP_LIMIT = 0.2
"""Share of self-checks above which a step is missed too often: one in five (project choice)."""
SKIN_LIMIT = 0.1
"""Share of changes followed by a skin finding that is too high: one in ten (project choice)."""
LIKELY_PROBABILITY = 0.8
"""A share is likely above its limit from this probability on (project choice): where all of a
programme is near the limit, a half would call most families above it by chance."""
RUN_MISSED = 5
"""A step missed on so many of the latest occasions in a row needs retraining for any history
(project choice: at a share of one in five, 3 in 10 000 such rows are chance)."""
FEWEST_SINCE = 4
"""With fewer occasions since a refresher it is too early to tell (project choice)."""

_OUT_OF = ("missed", "seen")


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
    """Find what families and caregivers miss by recent evidence, most in need first.

    Recent are the last `retraining_window_months`, and not before the caregiver's last refresher
    of the dressing change; what is older is counted apart. Entries that name no
    caregiver are recent from the family's last refresher, of any of its caregivers. The share of
    each caregiver is adjusted towards the programme's for the step, adjusted for how uncertain it
    is that caregivers differ. Families without a line in place help to find that and are not listed.

    Parameters
    ----------
    timeline, records, policy
        As for :func:`analysis.decisions.practice.practice`.
    since : date, optional
        First day of the recent evidence, in place of the policy's window.

    Returns
    -------
    DataFrame
        Columns of `RETRAINING`: what was missed recently, or before a refresher in the window.
        By state, then probability, missed (each more first), then codes.

    *Source:* project definition, definitions §8; shares as in `stats.averaged_shares`.
    """
    return needs_of(practice(timeline, records, policy), timeline, records, policy, since)


def needs_of(
    seen: pd.DataFrame,
    timeline: Timeline,
    records: Records,
    policy: Policy,
    since: date | None = None,
) -> pd.DataFrame:
    """Do the same for occasions already collected.

    Parameters
    ----------
    seen : DataFrame
        Columns of `PRACTICE`.
    timeline, records, policy, since
        As for :func:`retraining`.

    Returns
    -------
    DataFrame
        Columns of `RETRAINING`.
    """
    settings = policy.on(timeline.as_of).settings
    counts = counted(seen, records, timeline.as_of, settings, since)
    return needs_of_counts(counts, shares_of(counts), timeline, settings)


def shares_of(counts: pd.DataFrame, known: FoundOf | None = None) -> dict[str, AveragedShares]:
    """What is known of the shares missed of each step, of counts as `counted` gives them.

    `known` is as for `snapshot_data.unless_same`: most log entries change few steps.
    """
    found, known = {}, {} if known is None else known
    for step, at in counts.groupby("step", observed=True).indices.items():
        if step != NO_SIGN_OFF:
            own = [counts[c].to_numpy()[at] for c in _OUT_OF]
            found[str(step)] = unless_same(
                known, ("shares", step), own, partial(average_shares, *own)
            )
    return found


def needs_of_counts(
    counts: pd.DataFrame,
    shares: Mapping[str, AveragedShares],
    timeline: Timeline,
    settings: Settings,
    known: FoundOf | None = None,
) -> pd.DataFrame:
    """Do the same for occasions already counted.

    Parameters
    ----------
    counts : DataFrame
        As :func:`analysis.decisions.counted_practice.counted` gives them, of all families or some.
    shares : mapping
        From :func:`shares_of` for all families.
    timeline : Timeline
        Of at least the families of the counts.
    settings : Settings
        Of the as-of day.
    known : dict, optional
        As for `snapshot_data.unless_same`, where the counts are of all families.

    Returns
    -------
    DataFrame
        Columns of `RETRAINING`.
    """
    known = {} if known is None else known
    shown = (counts["missed"] > 0) | (counts["refreshed"] & (counts["missed_before"] > 0))
    in_place = timeline.lines.loc[timeline.lines["end_on"].isna(), "family_id"]
    shown &= counts["family_id"].isin(in_place)
    counts = counts[shown.to_numpy(dtype=bool)].reset_index(drop=True)
    shrunk, above = np.full(len(counts), np.nan), np.full(len(counts), np.nan)
    for step, at in counts.groupby("step", observed=True).indices.items():
        if step == NO_SIGN_OFF:
            continue
        own = [counts[c].to_numpy()[at] for c in _OUT_OF]
        of_step, limit = shares[str(step)], limit_of(str(step), settings)
        shrunk[at], above[at] = unless_same(
            known,
            ("adjusted", step),
            (*vars(of_step).values(), limit, *own),
            partial(_adjusted, of_step, limit, own),
        )
    listed = counts.assign(shrunk_share=shrunk, prob_above=above)
    listed = listed.assign(state=_states(listed))
    listed = listed.sort_values(
        ["state", "prob_above", "missed", *KEYS],
        ascending=[True, False, False, True, True, True],
        ignore_index=True,
    )
    return RETRAINING.check(_named(listed))


def _adjusted(
    shares: AveragedShares, limit: float, own: list[npt.NDArray[np.int64]]
) -> tuple[FloatArray, FloatArray]:
    """Shrunk share of each caregiver, and the probability that it is above the limit."""
    return shares.posterior_mean(*own), shares.probability_above(limit, *own)


def _states(counts: pd.DataFrame) -> pd.Categorical:
    """What the recent evidence shows of each caregiver and step.

    A change without a sign-off is a fact: the newest change decides.
    """
    above, refreshed = counts["prob_above"].to_numpy(), counts["refreshed"].to_numpy(dtype=bool)
    seen, missed = counts["seen"].to_numpy(), counts["missed"].to_numpy()
    # Shares are compared as products, so that nothing is divided by 0.
    better = missed * counts["seen_before"] < counts["missed_before"] * seen
    fact = (counts["step"] == NO_SIGN_OFF).to_numpy(dtype=bool)
    in_row = counts["missed_in_row"].to_numpy()
    likely = (above >= LIKELY_PROBABILITY) | (in_row >= RUN_MISSED)
    state = np.select(
        [
            fact & (in_row > 0),
            fact,
            refreshed & (seen < FEWEST_SINCE),
            likely,
            refreshed & (above < 0.5) & better.to_numpy(dtype=bool),
            refreshed,
        ],
        [
            NeedState.RETRAIN,
            NeedState.IMPROVED,
            NeedState.TOO_EARLY,
            NeedState.RETRAIN,
            NeedState.IMPROVED,
            NeedState.WATCH,
        ],
        NeedState.NO_NEED,
    )
    return pd.Categorical(state, categories=[str(s) for s in NeedState], ordered=True)


def _named(frame: pd.DataFrame) -> pd.DataFrame:
    caregiver = frame["caregiver_id"].astype("string").replace(NOBODY, pd.NA)
    texts = dict.fromkeys(("family_id", "step", "evidence"), "string")
    days = dict.fromkeys(("recent_from", "refreshed_on"), "datetime64[s]")
    state = pd.Categorical(frame["state"].astype("object"), categories=[str(s) for s in NeedState])
    return frame.assign(caregiver_id=caregiver, state=state).astype({**texts, **days})


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
    log, shown = log_of(timeline, records), records.sign_offs
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
