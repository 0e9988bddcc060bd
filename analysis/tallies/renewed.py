"""The tallies after a change of few families, from those before the change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.policy import Policy
from analysis.tables.codes import is_among
from analysis.tables.linked import Linked
from analysis.tables.spliced import renumbered, spliced
from analysis.tallies.joined import kind_of
from analysis.tallies.tally import Tallies, tally, tally_lines
from analysis.timeline import Timeline


def renewed(
    before: Tallies, own: Timeline, changed: Linked, timeline: Timeline, policy: Policy
) -> Tallies | None:
    """Count linked families only; the counts of all others are taken over.

    Parameters
    ----------
    before : Tallies
        Of all lines, as of the same day, under the same policy.
    own : Timeline
        Of the linked families alone, now.
    changed : Linked
        As of `timeline.renewed`.
    timeline : Timeline
        Of all families, now.
    policy : Policy
        As of the tallies before.

    Returns
    -------
    Tallies or None
        The same bits as of `tally`; None: other lines have changed, too, so count all.
    """
    counted = tally(own, policy)
    rows = tally_lines(timeline)
    now = _name(rows)
    replaced = is_among(rows["line_id"], sorted(changed.line_id))
    lines = renumbered(_name(before.lines), now, replaced, _name(counted.lines))
    if lines is None:
        return None
    onsets = spliced(_by_kind(before.onsets), _by_kind(counted.onsets), lines, "kind")
    return replace(
        counted,
        lines=rows,
        days=spliced(before.days, counted.days, lines, "task"),
        events=spliced(before.events, counted.events, lines),
        onsets=onsets.drop(columns="kind"),
        row_of_holder=np.arange(len(rows), dtype=np.int64),
    )


def _name(lines: pd.DataFrame) -> pd.Series[str]:
    """One name for each time in which one family, site and nurse held of a line."""
    from_on = lines["held_from"].dt.strftime("%Y-%m-%d").astype("string").fillna("")
    return lines["line_id"].astype("string") + "\x1f" + from_on


def _by_kind(onsets: pd.DataFrame) -> pd.DataFrame:
    kinds = pd.CategoricalDtype(pd.RangeIndex(len(onsets["event"].cat.categories)))
    return onsets.assign(kind=pd.Categorical(kind_of(onsets), dtype=kinds))
