"""One catalogue of frames and columns: name, kind, unit, meaning, what a blank means.

`columns` says what an entry is, `incoming` lists the tables of the files that come in,
`records` what the store hands over; the other modules each describe one frame that the
rooms above make. Frames are checked where they enter a room.
"""

import pandas as pd

from analysis.tables.columns import Column, Frame, FrameError, Kind
from analysis.tables.incoming import INCOMING
from analysis.tables.records import KNOWN, Records

pd.set_option("mode.copy_on_write", True)
pd.set_option("mode.string_storage", "pyarrow")

__all__ = ["INCOMING", "KNOWN", "Column", "Frame", "FrameError", "Kind", "Records"]
