"""How often did each family and caregiver do and miss each step, recently and before?"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import days_of
from analysis.decisions.joined_text import joined_by
from analysis.decisions.practice import alike, coded
from analysis.policy import Settings
from analysis.tables.linked import Linked
from analysis.tables.records import Records
from analysis.tables.spliced import in_order
from analysis.vocabulary import SignOffKind, Skill

KEYS = ["family_id", "caregiver_id", "step"]
NOBODY = ""
"""Stands for a blank caregiver while counting; a code is never empty."""
_ROWS = 1 << 44
"""More than there are stored rows."""

Ints = npt.NDArray[np.int64]


def counted(
    seen: pd.DataFrame,
    records: Records,
    as_of: date,
    settings: Settings,
    since: date | None = None,
) -> pd.DataFrame:
    """Count the occasions of each family, caregiver and step.

    Parameters
    ----------
    seen : DataFrame
        Columns of `PRACTICE`.
    records : Records
        Give the refreshers.
    as_of, settings, since
        As for :func:`analysis.decisions.retraining.retraining`.

    Returns
    -------
    DataFrame
        One row a family, caregiver and step, in their order: family_id, caregiver_id (`NOBODY`: not
        recorded), step; seen, missed, seen_before, missed_before, missed_in_row; refreshed_on,
        recent_from, refreshed (in the window or as it began); evidence: the rows in which it was
        missed recently, joined by ``;``. A row follows from the occasions of its family and the
        refreshers alone.

    *Source:* project definition, definitions §8.
    """
    window = pd.Timestamp(as_of) - pd.DateOffset(months=settings.retraining_window_months)
    window = window if since is None else pd.Timestamp(since)
    group, counts = _by_person_and_step(seen)
    refreshed_on = _refreshed_on(counts, last_refreshers(records, as_of), records)
    recent = _recent(seen, refreshed_on.to_numpy()[group], window)
    proof = recent & seen["missed"].to_numpy(dtype=bool)
    counts = counts.assign(
        **_counted(seen, group, recent, len(counts)),
        missed_in_row=_missed_in_row(seen, group, recent, len(counts)),
        refreshed_on=refreshed_on,
        recent_from=refreshed_on.where((refreshed_on > window).to_numpy(dtype=bool), window),
        refreshed=(refreshed_on >= window).to_numpy(dtype=bool),
        evidence=_evidence(seen["row"].to_numpy()[proof], group[proof]).reindex(counts.index),
    )
    return counts.sort_values(KEYS, ignore_index=True)


def renewed(before: pd.DataFrame, own: pd.DataFrame, changed: Linked) -> pd.DataFrame:
    """Take the counts of all but linked families over from those before.

    Parameters
    ----------
    before : DataFrame
        As of the same day, with the same sign-offs, under the same policy.
    own : DataFrame
        Of the linked families alone, now.
    changed : Linked
        As of `timeline.renewed`.
    """
    was, came = alike(before, own)
    families = was["family_id"].cat
    gone = families.categories.isin(list(changed.family_id))
    kept = np.flatnonzero(~gone[families.codes.to_numpy()])
    cuts = np.searchsorted(families.codes.to_numpy()[kept], came["family_id"].cat.codes.to_numpy())
    return in_order(was, came, np.insert(kept, cuts, len(was) + np.arange(len(came))))


def _by_person_and_step(seen: pd.DataFrame) -> tuple[Ints, pd.DataFrame]:
    """Number what is counted together: of each occasion, and one row a number with its keys."""
    keys = [_sorted(seen[name]) for name in KEYS]
    key = np.zeros(len(seen), dtype=np.int64)
    for codes, texts in keys:
        key = key * len(texts) + codes
    # Before: one row an occasion; after: one row a family, caregiver and step.
    group, distinct = pd.factorize(key)
    columns = {}
    for name, (_, texts) in zip(reversed(KEYS), reversed(keys), strict=True):
        columns[name] = coded(distinct % len(texts), texts)
        distinct = distinct // len(texts)
    return group, pd.DataFrame({name: columns[name] for name in KEYS})


def _sorted(texts: pd.Series[Any]) -> tuple[Ints, pd.Index[str]]:
    """Positions among all texts of a category, sorted; a blank is the first of them."""
    words = texts.cat.categories.astype("object")
    order = words.argsort()
    place = np.zeros(len(words) + 1, dtype=np.int64)  # the last is that of a blank
    place[order] = np.arange(1, len(words) + 1)
    return place[texts.cat.codes.to_numpy()], pd.Index([NOBODY, *words[order]], dtype="object")


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
    nobody = who["caregiver_id"].fillna(NOBODY) == NOBODY
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


def _evidence(row: Ints, group: Ints) -> pd.Series[str]:
    """The stored rows of each group in their order, joined by ``;``: by group, named evidence."""
    order = np.argsort(row, kind="stable")
    texts = [pd.Series(cells[order]).astype("string") for cells in (group, row)]
    joined = joined_by({"group": texts[0]}, texts[1], ";")
    return pd.Series(
        joined["joined"].array, index=joined["group"].astype("int64").to_numpy(), name="evidence"
    )
