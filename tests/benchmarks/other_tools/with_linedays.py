"""The four questions to linedays, from its store."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path

import pandas as pd

from analysis.ingest import ingest
from analysis.measures.dwell import dwell
from analysis.measures.lines import line_table
from analysis.measures.rates import rates
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Basis, Grouping, Limits, Task


def fill(store: Path, folder: Path, as_of: date) -> None:
    """Check the files of a folder and store them; once for all questions."""
    at = datetime.combine(as_of, time(), UTC)
    with Store.open(f"sqlite:///{store}") as opened:
        files = sorted(folder.glob("*.csv"))
        ingest(opened, files, shipped_policy(), received_at=at, ingested_at=at)


def answers(store: Path, as_of: date, _skin: tuple[str, ...]) -> dict[str, pd.DataFrame]:
    """Days and intervals by line, rates by month, and the curve of lines in place."""
    with Store.open(f"sqlite:///{store}", create=False) as opened:
        seen = take(opened, shipped_policy(), as_of)
    curve = dwell(seen.timeline, seen.records, Grouping.ALL)
    return {
        "days": line_table(seen.timeline, Task.DRESSING),
        "rates": rates(seen.tallies, "skin", Grouping.MONTH, Basis.LINE, Limits.EXACT),
        "dwell": curve.curves,
    }
