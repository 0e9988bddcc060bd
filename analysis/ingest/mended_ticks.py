"""Is a tick that could not be read mended in a way that somebody reads?

A column of ticks is one only under its source's profile. A mended row read without it would go in
with the tick as a column beside it, and its finding would be lost.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.checking import Checked
from analysis.ingest.reasons import Refusal
from analysis.store import Writer

TICKS = (str(Refusal.UNREADABLE_TICK), str(Refusal.TICK_WITHOUT_PROFILE))


def unread_ticks(checked: Checked, writer: Writer) -> None:
    """Refuse mended rows whose tick at fault is still filled in and is not read as one."""
    mends = checked.accepted["mends"]
    if mends.null_count == len(mends):
        return
    at_fault = writer.columns_at_fault(TICKS)
    for head in sorted(set(at_fault.values()) & set(checked.source.part.heads.unknown.values())):
        numbers = [number for number, column in at_fault.items() if column == head]
        mended = pc.is_in(mends, value_set=pa.array(numbers, pa.int64()))
        filled = pc.and_(mended, checked.rows.extra[head].is_valid())
        checked.faults.mark(np.asarray(filled), head, Refusal.TICK_WITHOUT_PROFILE)
