"""What came to be counted between two mornings?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.tables.timeline import EVENT_TALLY, TALLY
from analysis.tallies.tally import Tallies


def between(later: Tallies, earlier: Tallies) -> Tallies:
    """Take the counts of an earlier morning from those of a later one.

    Parameters
    ----------
    later, earlier : Tallies
        Of the same records under the same policy, as of two days.

    Returns
    -------
    Tallies
        Days and events from the earlier day on and before the later. An interval counts when
        it was first scored in that time: it ended, or its first day out of date came. Cells
        whose counts cancel out are left out; groups are those of the later morning.

    *Source:* the counts add up by day, definitions §1 and §3.
    """
    held = ["line_id", "held_from"]
    earlier_rows = pd.MultiIndex.from_frame(earlier.lines[held])
    place = later.lines.set_index(held)["line"].reindex(earlier_rows).to_numpy(dtype=np.int64)
    began = earlier.onsets.assign(line=place[earlier.onsets["line"].to_numpy()])
    seen = pd.concat([later.onsets, began]).drop_duplicates(keep=False)
    return Tallies(
        lines=later.lines,
        days=_less(later.days, earlier.days, place, TALLY.names),
        events=_less(later.events, earlier.events, place, EVENT_TALLY.names),
        onsets=seen.reset_index(drop=True),
        coverage_floor=later.coverage_floor,
        row_of_holder=later.row_of_holder,
    )


def _less(
    later: pd.DataFrame, earlier: pd.DataFrame, place: np.ndarray, names: list[str]
) -> pd.DataFrame:
    sums = [n for n in names if pd.api.types.is_integer_dtype(later[n]) and n != "line"]
    keys = [n for n in names if n not in sums]
    before = earlier.assign(line=place[earlier["line"].to_numpy()], **(-earlier[sums]))
    # Before: a cell of either morning; after: one row a cell with what was added in between.
    both = pd.concat([later[names], before[names].astype(later[names].dtypes.to_dict())])
    cells = both.groupby(keys, observed=True, dropna=False)[sums].sum().reset_index()
    return cells[(cells[sums] != 0).any(axis=1)].reset_index(drop=True)[names]
