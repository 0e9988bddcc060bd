"""Records written as small text tables, so that a reader can work out a test by hand.

Cells are split by ``|``; an empty cell is blank. Columns a test does not care for are filled:
every line is a tunneled line of family F1 at site "north" under a transparent dressing.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd

from analysis.policy import shipped_policy
from analysis.snapshot import Snapshot, end_of_day
from analysis.tables import KNOWN, Records

LINE_DEFAULTS = {
    "child_id": "C1",
    "family_id": "F1",
    "site": "north",
    "line_type": "tunneled_cvc",
    "dressing_type": "transparent",
}


def written(**tables: str) -> Records:
    """Build records from text tables, numbering rows from 1 in each table."""
    parsed = {name: _cells(text) for name, text in tables.items()}
    lines = parsed.get("lines", {})
    count = len(next(iter(lines.values()), []))
    for name, value in LINE_DEFAULTS.items():
        lines.setdefault(name, [value] * count)
    lines.setdefault("placed_on", lines.get("home_from", []))
    _fill_earlier(parsed.get("earlier_lines"), lines)
    log = parsed.get("home_log")
    if log is not None:
        family_of = dict(zip(lines["line_id"], lines["family_id"], strict=True))
        log.setdefault("family_id", [family_of[line] for line in log["line_id"]])
        _split_moments(log)
    frames = {name: _frame(name, columns) for name, columns in parsed.items()}
    return Records.of(frames)


def _fill_earlier(
    earlier: dict[str, list[str | None]] | None, lines: dict[str, list[str | None]]
) -> None:
    """An earlier version of a line's row says the same as the newest where nothing is written."""
    if earlier is None:
        return
    place = [lines["line_id"].index(line_id) for line_id in earlier["line_id"]]
    for name, cells in lines.items():
        earlier.setdefault(name, [cells[at] for at in place])


def _cells(text: str) -> dict[str, list[str | None]]:
    rows = [[c.strip() for c in line.split("|")] for line in text.strip().splitlines()]
    head, *body = rows
    return {name: [row[at] or None for row in body] for at, name in enumerate(head)}


def _split_moments(log: dict[str, list[str | None]]) -> None:
    """``2031-03-01`` is a day, ``2031-03-01T08:00`` a moment (UTC)."""
    moments = log.pop("done_at")
    log["done_on"] = [m[:10] for m in moments]
    log["done_at"] = [m if "T" in m else None for m in moments]


def _frame(name: str, columns: dict[str, list[str | None]]) -> pd.DataFrame:
    entry = KNOWN[name]
    count = len(next(iter(columns.values())))
    filled: dict[str, list[object]] = dict(columns)
    filled.setdefault("row", list(range(1, count + 1)))
    if name == "calls":
        filled.setdefault("received_at", columns["called_at"])
    elif name != "arrangements":
        filled.setdefault("received_at", ["2031-01-01T00:00"] * count)
    for column in entry.columns:
        cells = filled.get(column.name)
        if cells is not None and column.dtype in {"Int64", "int64"}:
            filled[column.name] = [None if c is None else int(c) for c in cells]
        if cells is not None and column.dtype == "bool":
            filled[column.name] = [c == "yes" for c in cells]
    return entry.build(filled)


def day(text: str) -> date:
    """A date from ISO text."""
    return date.fromisoformat(text)


def snapshot_of(records: Records, as_of: str, known_on: str) -> Snapshot:
    """A snapshot of written records, whose log came as one file of our own form."""
    policy = shipped_policy()
    rows = max(1, len(records.home_log))
    ingests = pd.DataFrame(
        {
            "table": ["home_log"],
            "source": [""],
            "sha256": ["0" * 64],
            "last_row": [rows],
            "received_at": [pd.Timestamp(known_on)],
        }
    )
    return Snapshot(day(as_of), end_of_day(day(known_on), policy), policy, records, ingests)


def received_daily(records: Records, hours: int = 20, delay_days: int = 0) -> Records:
    """The same records, each entry of the log received so many days after its day."""
    log = records.home_log
    came = log["done_on"].astype("datetime64[us]") + pd.Timedelta(days=delay_days, hours=hours)
    return replace(records, home_log=log.assign(received_at=came))
