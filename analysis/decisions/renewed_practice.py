"""The occasions that show practice after a change of few families, from those before the change."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.practice import (
    BY_LINE,
    NO_SIGN_OFF,
    Ints,
    Occasions,
    alike,
    checked,
)
from analysis.policy import Policy
from analysis.tables.codes import is_among
from analysis.tables.linked import Linked
from analysis.tables.spliced import in_order, renumbered
from analysis.timeline import Timeline

_ROWS = 1 << 44
"""More than there are stored rows."""


def renewed(
    before: Occasions,
    now: Occasions,
    changed: Linked,
    timeline: Timeline,
    policy: Policy,
) -> Occasions | None:
    """Take the occasions of all but linked families over from those before.

    Parameters
    ----------
    before : Occasions
        As of the same day, with the same sign-offs, under the same policy.
    now : Occasions
        Of the linked families alone, now.
    changed : Linked
        As of `timeline.renewed`.
    timeline, policy
        As of `practice`, now.

    Returns
    -------
    Occasions or None
        The same bits as of `occasions`; None: find all.
    """
    line_id = timeline.lines["line_id"]
    replaced = is_among(line_id, sorted(changed.line_id))
    lines = renumbered(before.line_id, line_id, replaced, now.line_id)
    steps = [*policy.on(timeline.as_of).steps, *BY_LINE, NO_SIGN_OFF]
    if lines is None or not {*before.seen["step"].unique(), *now.seen["step"].unique()} <= {*steps}:
        return None  # a step that the policy does not know is one of every self-check
    was, came = alike(before.seen, now.seen)
    families = was["family_id"].cat
    gone = families.categories.isin(list(changed.family_id))
    kept = np.flatnonzero(~gone[families.codes.to_numpy()])
    old_keys, new_keys = (
        _keys(was, lines.kept[before.line], steps),
        _keys(came, lines.own[now.line], steps),
    )
    cuts = np.searchsorted(old_keys[kept], new_keys)
    order = np.insert(kept, cuts, len(was) + np.arange(len(came)))
    seen = in_order(was, came, order)
    place = np.insert(old_keys[kept], cuts, new_keys) % _ROWS
    line = place[_is_by_line(seen)].astype(np.int32)
    return Occasions(checked(seen), line, line_id)


def _keys(seen: pd.DataFrame, line: Ints, steps: Sequence[str]) -> Ints:
    """What occasions are in order of: step, then line or stored row."""
    of_step = pd.Index(steps).get_indexer(pd.Index(seen["step"].cat.categories)).astype(np.int64)
    place = seen["row"].to_numpy(dtype=np.int64, copy=True)
    place[_is_by_line(seen)] = line
    return np.asarray(of_step[seen["step"].cat.codes.to_numpy()] * _ROWS + place, dtype=np.int64)


def _is_by_line(seen: pd.DataFrame) -> npt.NDArray[np.bool_]:
    return seen["step"].isin(BY_LINE).to_numpy(dtype=bool)
