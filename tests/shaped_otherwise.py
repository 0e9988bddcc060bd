"""Files in shapes whose rows cannot be those of `tests.shaped`: other tables, columns and codes.

`python tests/shaped_otherwise.py` lists every file of both, how it is made, and how many questions
its profile takes.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import NamedTuple

import openpyxl

sys.path.insert(0, str(Path(__file__).parents[1]))

from analysis.ingest.proposal import propose
from analysis.ingest.raw import LogFile
from analysis.ingest.unpack import plain_files
from analysis.policy import shipped_policy
from tests.shaped import NONE, SHAPES, plain


class Shape(NamedTuple):
    """How a file is made, the answers to its questions, and what is read of it."""

    make: Callable[[Path], Path]
    answers: Mapping[str, str]
    columns: Sequence[str]
    """The table, then columns of it."""
    read: Sequence[Sequence[object]]
    refused: int = 0


def column_for_each_day(folder: Path) -> Path:
    """A sheet of a week, with the days as dates."""
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.append(["Line no", *(date(2031, 3, day) for day in (25, 26, 27)), "Remarks"])
    sheet.append(["L1", "flushed", None, "dressing changed", "calm"])
    sheet.append(["L3", "flushed", "skin check", None, None])
    book.save(path := folder / "week.xlsx")
    return path


KITS = [
    ["Line no", "Date", "What was done", "Kits left"],
    ["L1", "25.03.2031", "Supplies counted", "1.000"],
    ["L3", "26.03.2031", "Supplies counted", "7,0"],
]
PLANNED = [
    ["Line no", "Child", "Family", "Clinic", "Line type", "Placed", "Home from", "Dressing"],
    ["L8", "C8", "F8", "north", "PICC", "20/03/2031", "15/04/2031", "transparent"],
    ["L9", "C9", "F9", "north", "PICC", "10/01/2031", "20/01/2031", "gauze"],
]
ALMOST = [
    ["Line no", "Date", "What was done"],
    ["L1", "2031-03-25", "flushed"],
    ["l1", "2031-03-26", "flushed"],
    ["L1\u200b", "2031-03-27", "flushed"],
    ["\uff2c\uff11", "2031-03-28", "flushed"],
]

OTHERWISE: Mapping[str, Shape] = {
    "a column for each day (openpyxl)": Shape(
        column_for_each_day,
        {"days": "kind"},
        ("home_log", "line_id", "done_on", "kind"),
        [
            ("L1", "2031-03-25", "flush"),
            ("L1", "2031-03-27", "dressing_change"),
            ("L3", "2031-03-25", "flush"),
            ("L3", "2031-03-26", "skin_check"),
        ],
    ),
    "decimal comma and thousands mark (csv)": Shape(
        plain(KITS, ";"), NONE, ("home_log", "line_id", "kits_left"), [("L1", 1000), ("L3", 7)]
    ),
    "a discharge that is planned (csv)": Shape(
        plain(PLANNED, name="registry.csv"),
        NONE,
        ("lines", "line_id", "home_from"),
        [("L8", "2031-04-15"), ("L9", "2031-01-20")],
    ),
    "codes that look like known ones (csv)": Shape(
        plain(ALMOST), NONE, ("home_log", "line_id", "done_on"), [("L1", "2031-03-25")], refused=3
    ),
}


def main() -> None:
    """Print a table of all files."""
    made = {**SHAPES, **{name: shape[:2] for name, shape in OTHERWISE.items()}}
    sys.stdout.write("| file (made with) | questions |\n|---|---|\n")
    for name, (make, _) in made.items():
        with tempfile.TemporaryDirectory() as folder:
            (sent := Path(folder) / "sent").mkdir()
            (unpacked := Path(folder) / "unpacked").mkdir()
            (log,) = plain_files(LogFile.at(make(sent)), unpacked)
            asked = propose(log, "ward", shipped_policy()).questions
            sys.stdout.write(f"| {name} | {len(asked)} |\n")


if __name__ == "__main__":
    main()
