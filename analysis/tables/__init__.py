"""One catalogue of fields, and of the frames that name them.

`fields` defines each field once, `incoming` lists the tables of the files that come in,
`records` what the store returns; the other modules each describe the frames of one package.
A frame is checked where it enters a package.
"""

import pandas as pd

from analysis.tables.columns import Column, Frame, FrameError
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Field, Kind, Sensitivity
from analysis.tables.records import KNOWN, Records

pd.set_option("mode.copy_on_write", True)
pd.set_option("mode.string_storage", "pyarrow")

__all__ = [
    "INCOMING",
    "KNOWN",
    "Column",
    "Field",
    "Frame",
    "FrameError",
    "Kind",
    "Records",
    "Sensitivity",
]
