"""The timeline after a change of few families, from the one before the change."""

from __future__ import annotations

import numpy as np

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables.codes import is_among
from analysis.tables.linked import Linked
from analysis.tables.spliced import renumbered, spliced
from analysis.timeline.build import Timeline, code, of_parts


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
