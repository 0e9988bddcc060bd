"""The timeline after a change of few families, from the one before the change."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd

from analysis.days import day_number, days_of
from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables.codes import is_among, positions_of
from analysis.tables.linked import Linked
from analysis.tables.spliced import renumbered, spliced
from analysis.timeline.build import Timeline, code

_BY_LINE = {
    "home_periods": None,
    "accessed_periods": None,
    "intervals": "task",
    "care": "task",
    "skin_events": None,
    "outcome_events": None,
}
"""Frames in order of their lines, with the column of codes by which rows lie first."""


def renewed(
    before: Timeline, own: Timeline, changed: Linked, records: Records, policy: Policy
) -> Timeline | None:
    """Take the care of all but linked families over from the timeline before.

    Parameters
    ----------
    before : Timeline
        As of the same day, under the same policy.
    own : Timeline
        Of the linked families alone, now: of `tables.linked.records_of_linked`.
    changed : Linked
        Everyone who is linked with rows that came or went, as `tables.linked.linked_with` finds them.
    records : Records
        All records now.
    policy : Policy
        As of the timeline before.

    Returns
    -------
    Timeline or None
        The same bits as of `build`; None: other lines have changed, too, so build it.
    """
    order = ["family_id", "child_id", "line_id"]
    merged = _merged(before.lines, own.lines, "line_id", changed, order)
    known = days_of(records.lines["placed_on"]) <= day_number(before.as_of)
    now = merged["line_id"]
    replaced = is_among(now, sorted(changed.line_id))
    lines = renumbered(before.lines["line_id"], now, replaced, own.lines["line_id"])
    if lines is None or np.count_nonzero(known) != len(now):
        return None
    families = _merged(before.families, own.families, "family_id", changed, ["family_id"])
    merged["line"] = np.arange(len(merged), dtype=np.int64)
    merged["family"] = positions_of(merged["family_id"], families["family_id"])
    return Timeline(
        as_of=before.as_of,
        find_coded=partial(code, records, before.as_of, policy.zone),
        lines=merged,
        families=families.assign(family=np.arange(len(families), dtype=np.int64)),
        **{
            name: spliced(getattr(before, name), getattr(own, name), lines, kind)
            for name, kind in _BY_LINE.items()
        },
    )


def _merged(
    before: pd.DataFrame, own: pd.DataFrame, key: str, changed: Linked, by: list[str]
) -> pd.DataFrame:
    """Rows of who is not linked, and own rows, in their order."""
    kept = before[~is_among(before[key], sorted(getattr(changed, key)))]
    parts = [part for part in (kept, own) if len(part)]  # blank columns of none have other types
    return pd.concat(parts or [own]).sort_values(by, ignore_index=True)
