"""Everything that computes: from log files to lines, tallies, rates and calls."""

import pandas as pd

pd.set_option("mode.copy_on_write", True)
pd.set_option("mode.string_storage", "pyarrow")
