"""Which family and caregiver needs retraining on which step, and who came without a sign-off?"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import days_of
from analysis.decisions.day import log_of
from analysis.decisions.joined_text import joined_by
from analysis.decisions.practice import (
    EARLY_FAILURE,
    LATE_CHANGE,
    NO_SIGN_OFF,
    SKIN_AFTER_CHANGE,
    coded,
    demonstrated,
    is_current,
    practice,
)
from analysis.policy import Policy, Settings
from analysis.stats.averaged_shares import average_shares
from analysis.tables.records import Records
from analysis.tables.retraining import NOT_SIGNED_OFF, RETRAINING
from analysis.timeline import Timeline
from analysis.vocabulary import EntryKind, NeedState, SignOffKind, SignOffOutcome, Skill

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

_KEYS = ["family_id", "caregiver_id", "step"]
_NOBODY = ""
"""Stands for a blank caregiver while counting; a code is never empty."""
_ROWS = 1 << 44
"""More than there are stored rows."""

Ints = npt.NDArray[np.int64]


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
    now = pd.Timestamp(timeline.as_of)
    window = now - pd.DateOffset(months=settings.retraining_window_months)
    window = window if since is None else pd.Timestamp(since)
    group, counts = _by_person_and_step(seen)
    refreshed_on = _refreshed_on(counts, last_refreshers(records, timeline.as_of), records)
    recent = _recent(seen, refreshed_on.to_numpy()[group], window)
    counts = counts.assign(
        **_counted(seen, group, recent, len(counts)),
        missed_in_row=_missed_in_row(seen, group, recent, len(counts)),
        refreshed_on=refreshed_on,
        recent_from=refreshed_on.where((refreshed_on > window).to_numpy(dtype=bool), window),
    )
    refreshed_lately = (refreshed_on >= window).to_numpy(dtype=bool)
    shown = (counts["missed"] > 0) | (refreshed_lately & (counts["missed_before"] > 0))
    in_place = timeline.lines.loc[timeline.lines["end_on"].isna(), "family_id"]
    is_shown = (shown & counts["family_id"].isin(in_place)).to_numpy(dtype=bool)
    shrunk, above = np.full(len(counts), np.nan), np.full(len(counts), np.nan)
    for step, at in counts.groupby("step", observed=True).indices.items():
        if step == NO_SIGN_OFF:
            continue
        missed, out_of = (counts[c].to_numpy()[at] for c in ("missed", "seen"))
        found, here = average_shares(missed, out_of), is_shown[at]
        own, limit = (missed[here], out_of[here]), limit_of(str(step), settings)
        shrunk[at[here]] = found.posterior_mean(*own)
        above[at[here]] = found.probability_above(limit, *own)
    counts = counts.assign(shrunk_share=shrunk, prob_above=above)
    counts = counts.assign(state=_states(counts, refreshed_lately))
    proof = recent & seen["missed"].to_numpy(dtype=bool) & is_shown[group]
    listed = counts[is_shown].join(_evidence(seen["row"].to_numpy()[proof], group[proof]))
    listed = listed.sort_values(
        ["state", "prob_above", "missed", *_KEYS],
        ascending=[True, False, False, True, True, True],
        ignore_index=True,
    )
    return RETRAINING.check(_named(listed))


def _by_person_and_step(seen: pd.DataFrame) -> tuple[Ints, pd.DataFrame]:
    """Number what is counted together: of each occasion, and one row a number with its keys."""
    keys = [_sorted(seen[name]) for name in _KEYS]
    key = np.zeros(len(seen), dtype=np.int64)
    for codes, texts in keys:
        key = key * len(texts) + codes
    # Before: one row an occasion; after: one row a family, caregiver and step.
    group, distinct = pd.factorize(key)
    columns = {}
    for name, (_, texts) in zip(reversed(_KEYS), reversed(keys), strict=True):
        columns[name] = coded(distinct % len(texts), texts)
        distinct = distinct // len(texts)
    return group, pd.DataFrame({name: columns[name] for name in _KEYS})


def _sorted(texts: pd.Series[Any]) -> tuple[Ints, pd.Index[str]]:
    """Positions among all texts of a category, sorted; a blank is the first of them."""
    words = texts.cat.categories.astype("object")
    order = words.argsort()
    place = np.zeros(len(words) + 1, dtype=np.int64)  # the last is that of a blank
    place[order] = np.arange(1, len(words) + 1)
    return place[texts.cat.codes.to_numpy()], pd.Index([_NOBODY, *words[order]], dtype="object")


def last_refreshers(records: Records, as_of: date) -> pd.Series[pd.Timestamp]:
    """Return the day of the last refresher of the dressing change up to a day, by caregiver."""
    shown = records.sign_offs
    given = (
        (shown["kind"] == SignOffKind.REFRESHER)
        & (shown["skill"] == Skill.DRESSING_CHANGE)
        & (shown["signed_on"] <= pd.Timestamp(as_of))
    )
    own = shown[given.fillna(value=False).to_numpy(dtype=bool)]
    return own.groupby("caregiver_id")["signed_on"].max()


def _refreshed_on(
    who: pd.DataFrame, refreshed: pd.Series[pd.Timestamp], records: Records
) -> pd.Series[pd.Timestamp]:
    """The last refresher of each row's caregiver; where none is named, of the family."""
    of_family = records.caregivers.drop_duplicates("caregiver_id").set_index("caregiver_id")
    families = refreshed.groupby(of_family["family_id"].reindex(refreshed.index).array).max()
    nobody = who["caregiver_id"].fillna(_NOBODY) == _NOBODY
    own = who["caregiver_id"].map(refreshed).astype("datetime64[s]")
    return own.mask(nobody, who["family_id"].map(families).astype("datetime64[s]"))


def _recent(
    seen: pd.DataFrame, refreshed_on: npt.NDArray[np.datetime64], window: pd.Timestamp
) -> npt.NDArray[np.bool_]:
    """Which occasions are in the window and not before the last refresher."""
    done_on = seen["done_on"].to_numpy()
    before = done_on < refreshed_on  # never, where there was none
    return np.asarray((done_on >= window.to_datetime64()) & ~before, dtype=np.bool_)


def _counted(
    seen: pd.DataFrame, group: Ints, recent: npt.NDArray[np.bool_], n_groups: int
) -> dict[str, Ints]:
    """Occasions of each group: seen, missed, seen_before, missed_before."""
    missed = seen["missed"].to_numpy(dtype=bool)
    chosen = {
        "seen": recent,
        "missed": recent & missed,
        "seen_before": ~recent,
        "missed_before": ~recent & missed,
    }
    return {name: np.bincount(group[at], minlength=n_groups) for name, at in chosen.items()}


def _missed_in_row(
    seen: pd.DataFrame, group: Ints, recent: npt.NDArray[np.bool_], n_groups: int
) -> Ints:
    """How many of the latest occasions of each group were missed in a row."""
    # Occasions in order of their day, then of their stored row: one number for both.
    order = days_of(seen["done_on"]) * _ROWS + seen["row"].to_numpy(dtype=np.int64)
    missed = seen["missed"].to_numpy(dtype=bool)
    last_done_well = np.full(n_groups, np.iinfo(np.int64).min)
    well = recent & ~missed
    np.maximum.at(last_done_well, group[well], order[well])
    since = recent & missed
    since[since] = order[since] > last_done_well[group[since]]
    return np.bincount(group[since], minlength=n_groups)


def _states(counts: pd.DataFrame, refreshed: npt.NDArray[np.bool_]) -> pd.Categorical:
    """What the recent evidence shows of each caregiver and step.

    A change without a sign-off is a fact: the newest change decides.
    """
    above = counts["prob_above"].to_numpy()
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


def _evidence(row: Ints, group: Ints) -> pd.Series[str]:
    """The stored rows of each group in their order, joined by ``;``: by group, named evidence."""
    order = np.argsort(row, kind="stable")
    texts = [pd.Series(cells[order]).astype("string") for cells in (group, row)]
    joined = joined_by({"group": texts[0]}, texts[1], ";")
    return pd.Series(
        joined["joined"].array, index=joined["group"].astype("int64").to_numpy(), name="evidence"
    )


def _named(frame: pd.DataFrame) -> pd.DataFrame:
    caregiver = frame["caregiver_id"].astype("string").replace(_NOBODY, pd.NA)
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
