"""How does a demo become files, as four sources would send them?

``canonical/`` holds the registry and one team's log as CSV, ``clinic/`` a team's workbooks
with its own heads and words, ``form/`` the export of a form with one column a finding,
``visits/`` the visiting nurses' entries as Parquet. Together they hold every row once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq
import xlsxwriter

from analysis.tables import INCOMING
from analysis.vocabulary import Relation
from synthetic_data.demo import Demo
from synthetic_data.draws import Bools
from synthetic_data.frames import TABLES
from synthetic_data.scene import TEAM_WORDS
from synthetic_data.shapes import Cells, canonical_text, own_text, source
from synthetic_data.spoiling import Sheet, WrongRow, is_alone, spoilt

WRONG_SHARE = 0.005
CLINIC, FORM = "clinic.toml", "form.toml"
_SHEET_ROWS = 1_000_000
_MADE = datetime(2000, 1, 1, tzinfo=UTC)
_CANONICAL, _SHEET, _FORM, _VISITS = range(4)


@dataclass(frozen=True)
class Written:
    """Files of a demo, each with the profile to read it with, and their wrong rows."""

    folder: Path
    sources: tuple[tuple[Path, Path | None], ...]
    wrong: tuple[WrongRow, ...]


def write(demo: Demo, folder: Path, *, wrong_share: float = WRONG_SHARE) -> Written:
    """Write a demo as four sources would send it, some rows of it wrong.

    Parameters
    ----------
    demo : Demo
        What :func:`generate` made; some ten thousand families at most (a workbook is small).
    folder : Path
        Made if absent; files of the same names are replaced.
    wrong_share : float
        Share of rows that are spoilt; 0: none.

    Returns
    -------
    Written
        Files in the order in which they are read, and every wrong row with what was right.

    Raises
    ------
    ValueError
        A year of the clinic's log has more rows than a sheet can hold.
    """
    rng = np.random.default_rng([demo.seed, 7])
    families = _families(demo)
    sheets = [_registry(demo, table) for table in TABLES if table != "home_log"]
    sheets += _logs(demo, families["home_log"])
    wrong: list[WrongRow] = []
    for sheet in sheets:
        done, faults = spoilt(rng, sheet, wrong_share, _spared(demo, sheet, families))
        wrong += faults
        _save(done, folder)
    for file, home in ((CLINIC, "clinic"), (FORM, "form")):
        (folder / home).mkdir(parents=True, exist_ok=True)
        (folder / home / file).write_text(source(file).text, "utf-8")
    made = {folder / sheet.file for sheet in sheets}
    sources = tuple(one for one in demo_sources(folder) if one[0] in made)
    return Written(folder, sources, tuple(wrong))


def demo_sources(demo: Written | Path) -> list[tuple[Path, Path | None]]:
    """Files of a demo (or below its folder) in the order to read them, each with its profile."""
    folder = demo.folder if isinstance(demo, Written) else demo
    found: list[tuple[Path, Path | None]] = []
    for table in TABLES:
        found += [(path, None) for path in sorted((folder / "canonical").glob(f"{table}*.csv"))]
    found += [(path, None) for path in sorted((folder / "visits").glob("*.parquet"))]
    found += [(p, folder / "clinic" / CLINIC) for p in sorted((folder / "clinic").glob("*.xlsx"))]
    found += [(p, folder / "form" / FORM) for p in sorted((folder / "form").glob("*.csv"))]
    return found


def write_canonical(blocks: Iterable[Demo], folder: Path, form: str) -> list[Path]:
    """Write blocks of a demo as canonical CSV or Parquet, a file a table and block.

    Memory is bounded by one block; a family is in one block only. No row is wrong.

    Parameters
    ----------
    blocks : iterable of Demo
        From :func:`generate_blocks`, or one demo in a list.
    folder : Path
        Made if absent.
    form : str
        ``csv`` or ``parquet``.

    Returns
    -------
    list of Path
        Files in the order in which they can be read.
    """
    if form not in {"csv", "parquet"}:
        raise ValueError(f"{form!r} is not csv or parquet.")
    folder.mkdir(parents=True, exist_ok=True)
    written: dict[str, list[Path]] = {table: [] for table in TABLES}
    for number, block in enumerate(blocks, 1):
        for table in TABLES:
            path = folder / f"{table}-{number:04d}.{form}"
            frame = block.frames[table]
            if form == "csv":
                _csv(canonical_text(frame, table), path, ",")
            else:
                pq.write_table(_typed(canonical_text(frame, table), frame), path)
            written[table].append(path)
    return [path for paths in written.values() for path in paths]


def _families(demo: Demo) -> dict[str, pd.Series[str]]:
    """Family of each row of each table (blank where the table does not tell)."""
    lines = demo.frames["lines"].drop_duplicates("line_id")
    of_line = lines.set_index("line_id")["family_id"]
    of_child = lines.drop_duplicates("child_id").set_index("child_id")["family_id"]
    people = demo.frames["caregivers"].set_index("caregiver_id")["family_id"]
    log = demo.frames["home_log"]
    number = log["entry_id"].str.extract(r"^E-(\d+)-", expand=False)
    named = log["family_id"].fillna(log["line_id"].map(of_line)).fillna("F-" + number)
    return {
        "lines": demo.frames["lines"]["family_id"],
        "stays": demo.frames["stays"]["child_id"].map(of_child),
        "caregivers": demo.frames["caregivers"]["family_id"],
        "sign_offs": demo.frames["sign_offs"]["caregiver_id"].map(people),
        "outcomes": demo.frames["outcomes"]["line_id"].map(of_line),
        "home_log": named,
    }


def _spared(demo: Demo, sheet: Sheet, families: Mapping[str, pd.Series[str]]) -> Bools:
    """Rows that are not to be spoilt: a wrong one would take others with it, or hide a plant."""
    family = families[sheet.table].loc[sheet.frame.index]
    planted = demo.truth.families if demo.truth else frozenset()
    spared = family.isin(planted)
    if sheet.table != "lines":
        alone = is_alone(demo.frames[sheet.table], INCOMING[sheet.table].key)
        spared |= ~alone.loc[sheet.frame.index]
    if sheet.table == "home_log":
        spared |= sheet.frame["line_id"].isna()
    if sheet.table == "caregivers":
        spared |= sheet.frame["caregiver_id"].isin(_busy(demo))
    return spared.to_numpy().astype(np.bool_)


def _busy(demo: Demo) -> set[str]:
    """Caregivers that other rows refer to."""
    log, signed = demo.frames["home_log"], demo.frames["sign_offs"]
    return {*log["caregiver_id"].dropna().unique(), *signed["caregiver_id"].unique()}


def _registry(demo: Demo, table: str) -> Sheet:
    frame = demo.frames[table]
    text = canonical_text(frame, table)
    return Sheet(f"canonical/{table}.csv", None, table, frame, text, text)


def _logs(demo: Demo, family: pd.Series[str]) -> list[Sheet]:
    """The log, split by who sends it: each row is in one sheet."""
    log = demo.frames["home_log"]
    people = demo.frames["caregivers"].set_index("caregiver_id")["relation"]
    visits = (log["caregiver_id"].map(people) == Relation.HOME_NURSE).to_numpy()
    site = demo.frames["lines"].drop_duplicates("family_id").set_index("family_id")["site"]
    word = family.map(site).str.split(" ").str[0]
    way = np.where(visits, _VISITS, word.map({w: at for at, w in enumerate(TEAM_WORDS)}))
    sheets = []
    for number, file, profile in (
        (_CANONICAL, f"canonical/home_log-{TEAM_WORDS[0].lower()}.csv", None),
        (_FORM, f"form/{TEAM_WORDS[2].lower()}-form.csv", FORM),
    ):
        sheets.append(_log_sheet(log[way == number], file, None, profile))
    sheets.append(_log_sheet(log[way == _VISITS], "visits/home_log-visits.parquet", None, None))
    by_phone = log[way == _SHEET]
    for year in sorted(by_phone["received_at"].dt.year.unique()):
        part = by_phone[by_phone["received_at"].dt.year == year]
        if len(part) > _SHEET_ROWS:
            raise ValueError(
                f"{len(part)} rows of {year} are more than a sheet holds; "
                "write a programme of this size with write_canonical."
            )
        file = f"clinic/{TEAM_WORDS[1].lower()}-diary-{year}.xlsx"
        sheets.append(_log_sheet(part, file, "Diary", CLINIC))
    return sheets


def _log_sheet(frame: pd.DataFrame, file: str, sheet: str | None, profile: str | None) -> Sheet:
    text = canonical_text(frame, "home_log")
    looks = source(profile) if profile else None
    cells = own_text(text, looks) if looks else text
    return Sheet(file, sheet, "home_log", frame, text, cells, looks, file.endswith(".parquet"))


def _save(sheet: Sheet, folder: Path) -> None:
    path = folder / sheet.file
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".xlsx":
        _workbook(sheet, path)
    elif path.suffix == ".parquet":
        pq.write_table(_typed(sheet.cells, sheet.frame), path)
    else:
        _csv(sheet.cells, path, ";" if sheet.looks else ",")


def _csv(cells: Cells, path: Path, separator: str) -> None:
    options = pacsv.WriteOptions(delimiter=separator, quoting_style="needed")
    pacsv.write_csv(pa.table(cells), path, options)


def _typed(cells: Cells, frame: pd.DataFrame) -> pa.Table:
    """Text, numbers and moments as a program would write them."""
    out: dict[str, pa.Array] = {}
    for name, text in cells.items():
        if name in {"done_at", "received_at"}:
            out[name] = pa.array(frame[name]).cast(pa.timestamp("us", tz="UTC"))
        elif name == "void":
            out[name] = pa.array(frame[name])
        elif frame[name].dtype == "Int64":
            out[name] = text.cast(pa.int32())
        elif str(frame[name].dtype).startswith("datetime64") and name != "born":
            out[name] = text.cast(pa.date32())
        else:
            out[name] = text
    return pa.table(out)


def _workbook(sheet: Sheet, path: Path) -> None:
    """A workbook with two rows above the head; days as typed text, moments as date cells."""
    assert sheet.looks is not None
    assert sheet.sheet is not None
    entered = sheet.head("received_at")
    received = [m.to_pydatetime() for m in sheet.frame["received_at"]]
    columns = {
        head: received if head == entered else cells.to_pylist()
        for head, cells in sheet.cells.items()
    }
    numbers = sheet.head("kits_left")
    columns[numbers] = [_number(text) for text in columns[numbers]]
    with xlsxwriter.Workbook(path, {"constant_memory": True}) as book:
        book.set_properties({"created": _MADE})
        moment = book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
        page = book.add_worksheet(sheet.sheet)
        page.write_string(0, 0, "Diary of phone reports by families")
        page.write_string(1, 0, "Invented data: nobody in it exists")
        above = sheet.rows_above
        page.write_row(above - 1, 0, list(columns))
        for at, row in enumerate(zip(*columns.values(), strict=True), above):
            for across, cell in enumerate(row):
                _write_cell(page, at, across, cell, moment)


def _write_cell(page: object, row: int, across: int, cell: object, moment: object) -> None:
    assert isinstance(page, xlsxwriter.worksheet.Worksheet)
    if isinstance(cell, str):
        page.write_string(row, across, cell)
    elif isinstance(cell, datetime):
        page.write_datetime(row, across, cell, moment)
    elif cell is not None:
        page.write_number(row, across, cell)


def _number(text: str | None) -> int | str | None:
    return int(text) if text is not None and text.lstrip("-").isdigit() else text
