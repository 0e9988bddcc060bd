"""Was a tick that could not be read corrected in a way that is read?

A column of ticks is one only under its source's profile. A corrected row read without it would be
stored with the tick as an unknown column, and its finding would be lost.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.checked import Checked
from analysis.ingest.reasons import Refusal
from analysis.store import Writer

TICKS = (str(Refusal.UNREADABLE_TICK), str(Refusal.TICK_WITHOUT_PROFILE))


def unread_ticks(checked: Checked, writer: Writer) -> None:
    """Refuse corrected rows whose tick at fault is still filled in and is not read as one."""
    fixes = checked.accepted["mends"]
    if fixes.null_count == len(fixes):
        return
    at_fault = writer.columns_at_fault(TICKS)
    for head in sorted(set(at_fault.values()) & set(checked.source.part.heads.unknown.values())):
        numbers = [number for number, column in at_fault.items() if column == head]
        fixed = pc.is_in(fixes, value_set=pa.array(numbers, pa.int64()))
        filled = pc.and_(fixed, checked.rows.extra[head].is_valid())
        checked.faults.mark(np.asarray(filled), head, Refusal.TICK_WITHOUT_PROFILE)
