"""What held of each line on each day: its order, dressing type, site, nurse and family."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.tables.codes import positions_of
from analysis.timeline.axis import (
    Axis,
    Codes,
    Ints,
    Spans,
    holds,
    line_of,
    starts_of_runs,
    unique_sorted,
)
from analysis.timeline.coded import DRESSING_TYPES, Lines, codes_of, order_days

HOLDERS = ("family_id", "site", "nurse")
"""Attributes by which days and events are grouped."""


@dataclass(frozen=True)
class Attributes:
    """Times of a line in which the same attributes hold, in order of line and day."""

    start: Ints
    """First packed day; the first time of a line starts with the axis."""
    family: Ints
    dressing_type: Codes
    dressing_order: Ints
    """Days; 0: no order."""
    flush_order: Ints
    holder: Ints
    """Number of the line with its family, site and nurse: 0, 1, … in order of line and day."""
    one_a_line: bool
    """Nothing changed on any line, so that the position of a time is that of its line."""

    @classmethod
    def of(cls, axis: Axis, lines: Lines) -> Attributes:
        """Put the versions of lines on the axis."""
        times = lines.times
        line = times["line"].to_numpy(dtype=np.int64)
        start = axis.pack(line, np.maximum(times["start"].to_numpy(dtype=np.int64), axis.base))
        # Of the times that started before the axis only the last is on it.
        last = np.ones(len(start), dtype=bool)
        last[:-1] = start[1:] != start[:-1]
        times, start, line = times[last], start[last], line[last]
        new = starts_of_runs(line)
        for name in HOLDERS:
            code, _ = pd.factorize(times[name])
            new |= starts_of_runs(code.astype(np.int64))
        return cls(
            start=start,
            family=positions_of(times["family_id"], lines.family_ids),
            dressing_type=codes_of(times["dressing_type"].astype("category"), DRESSING_TYPES),
            dressing_order=order_days(times["change_every_days"]),
            flush_order=order_days(times["flush_every_days"]),
            holder=np.cumsum(new) - 1,
            one_a_line=len(start) == len(lines.child),
        )

    def on(self, key: Ints) -> Ints:
        """Return the position of the time in which each packed day lies."""
        if self.one_a_line:
            return line_of(key)
        return np.searchsorted(self.start, key, side="right") - 1

    def pieces(self, spans: Spans) -> Spans:
        """Cut spans of lines where an attribute changes."""
        if self.one_a_line:
            return spans
        cuts = self.start[holds(spans, self.start)]
        start = unique_sorted(np.concatenate([spans.start, cuts]))
        end = spans.end[np.searchsorted(spans.start, start, side="right") - 1]
        end[:-1] = np.minimum(end[:-1], start[1:])
        return Spans(start, end)

    def spans(self, axis: Axis) -> Spans:
        """Return the times as spans, the last of a line up to the day after the as-of day."""
        line = line_of(self.start)
        end = axis.pack(line, np.full(len(line), axis.later + 1))
        follows = np.flatnonzero(~starts_of_runs(line))
        end[follows - 1] = self.start[follows]
        return Spans(self.start, end)
