"""Which entries of a form's submission are void because it was sent again without their tick?

Each ticked kind of a submission is an entry whose number is that of the submission with the kind
behind it (see `entries`). A submission that is sent again corrects all its entries: those whose
tick was taken away are void from then on. The last row of a submission in a file counts.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa

from analysis.ingest.checked import Checked
from analysis.ingest.heads import KIND
from analysis.ingest.identity import entry_keys
from analysis.store import Writer

_ENTRY_ID = "entry_id"


class Submissions:
    """Numbered submissions of one file, as its batches are read."""

    def __init__(self) -> None:
        self._ticked: list[pd.DataFrame] = []
        self._codes: dict[str, list[str]] = {}

    def add(self, checked: Checked) -> None:
        """Note which kind these rows of a form report."""
        part = checked.source.part
        code = part.fixed.get(KIND)
        if not part.heads.entries or code is None or _ENTRY_ID not in part.heads.columns.values():
            return
        sheet = part.of_sheet or ""
        self._codes[sheet] = [tick.code for tick in part.heads.entries.values()]
        rows = pd.DataFrame(
            {
                "number": checked.accepted[_ENTRY_ID].to_pandas(),
                "sheet": sheet,
                "at": np.asarray(checked.accepted["row_number"]),
                "received_at": np.asarray(checked.accepted["received_at"]),
                "code": code,
                "usable": checked.faults.usable,
                "void": np.asarray(checked.accepted["void"]),
            }
        )
        rows = rows[rows["number"].notna()]
        rows["number"] = rows["number"].str.slice(stop=-len(f"/{code}"))
        self._ticked.append(rows)

    def void_unticked(self, writer: Writer) -> int:
        """Void what earlier rows reported under a tick that the last one lacks; how many."""
        if not self._ticked:
            return 0
        ticked = pd.concat(self._ticked)
        sheets = {sheet: place for place, sheet in enumerate(self._codes)}
        ticked["place"] = ticked["sheet"].map(sheets)
        ticked = ticked.sort_values(["place", "at"], kind="stable")
        last = ticked.groupby("number")[["place", "at"]].transform("last")
        ticked = ticked[(ticked["place"] == last["place"]) & (ticked["at"] == last["at"])]
        rows = ticked.groupby("number", as_index=False).agg(
            sheet=("sheet", "last"),
            received_at=("received_at", "last"),
            usable=("usable", "any"),
            void=("void", "any"),
        )
        rows = rows[rows["usable"] & ~rows["void"]]
        every = rows.assign(code=rows["sheet"].map(self._codes)).explode("code")
        both = every.merge(ticked[["number", "code"]], how="left", indicator=True)
        gone = both[both["_merge"] == "left_only"]
        if gone.empty:
            return 0
        numbers = pa.array(gone["number"] + "/" + gone["code"], pa.string())
        keys = entry_keys(numbers, [b""] * len(numbers))
        return writer.void("home_log", keys, pa.array(gone["received_at"].to_numpy(np.int64)))
