"""The timeline after a change of few families, from the one before the change."""

from __future__ import annotations

import numpy as np

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables.codes import is_among
from analysis.tables.linked import Linked, records_of
from analysis.tables.spliced import renumbered, spliced
from analysis.timeline.build import Timeline, build, code, of_parts


def renewed(before: Timeline, records: Records, policy: Policy, changed: Linked) -> Timeline | None:
    """Calculate the care of linked families only; that of all others is taken over.

    Parameters
    ----------
    before : Timeline
        As of the same day, under the same policy.
    records : Records
        All records now.
    policy : Policy
        As of the timeline before.
    changed : Linked
        Whoever is linked with rows that came or went, as `tables.linked.linked_with` finds them.

    Returns
    -------
    Timeline or None
        The same bits as of `build`; None: other lines have changed, too, so build it.
    """
    own = build(records_of(records, changed), policy, before.as_of)
    coded = code(records, before.as_of, policy.zone)
    now = coded.lines.frame["line_id"]
    replaced = is_among(now, sorted(changed.line_id))
    lines = renumbered(before.lines["line_id"], now, replaced, own.lines["line_id"])
    if lines is None:
        return None
    gone = lines.kept < 0
    if not np.array_equal(gone, is_among(before.lines["line_id"], sorted(changed.line_id))):
        return None
    return of_parts(
        coded,
        policy,
        accessed_periods=spliced(before.accessed_periods, own.accessed_periods, lines),
        intervals=spliced(before.intervals, own.intervals, lines, "task"),
        care=spliced(before.care, own.care, lines, "task"),
    )
