"""Which files are read, in which order, and what kind of file is each?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from analysis.ingest.csv_file import csv_part
from analysis.ingest.faults import IngestError
from analysis.ingest.fhir_file import fhir_parts, is_fhir
from analysis.ingest.heads import table_of_name
from analysis.ingest.notes import file_left_out_note, folder_left_out_note
from analysis.ingest.parquet_file import parquet_part
from analysis.ingest.profile import Profile
from analysis.ingest.raw import LogFile, Part, own_name
from analysis.ingest.reasons import FileFault
from analysis.ingest.unpack import plain_files
from analysis.ingest.wide import by_day
from analysis.ingest.workbook_file import workbook_parts
from analysis.tables.incoming import INCOMING

ENDINGS = frozenset(
    {".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods", ".parquet"}
    | {".json", ".ndjson", ".jsonl", ".gz", ".zip"}
)
"""Endings of the files that a folder is searched for."""

ORDER = {table: at for at, table in enumerate(INCOMING)}
"""Place of each table in the order of reading: the registry before what names its lines."""

_FIRST_BYTES = 8192
_ZIP, _OLE, _PARQUET = b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"PAR1"
_PACKED = (b"\x1f\x8b", b"BZh", b"\xfd7zXZ\x00", b"\x28\xb5\x2f\xfd", b"7z\xbc\xaf\x27\x1c")
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")
_BEFORE_JSON = b"\xef\xbb\xbf \t\r\n"
_PROTECTED = "EncryptedPackage".encode("utf-16-le")


@dataclass(frozen=True)
class Found:
    """Files to read, in order, and what was skipped or is not there."""

    files: tuple[LogFile, ...]
    faults: tuple[IngestError, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Opened:
    """The tables of a file, in order of reading."""

    parts: tuple[Part, ...]
    notes: tuple[str, ...]


def find_files(
    named: Iterable[Path | LogFile], profile_of: Callable[[LogFile], Profile], folder: Path
) -> Found:
    """List the files named and those of the folders named, registry tables first.

    Files that are compressed, packed, UTF-16 or JSON are written to `folder` as plain files. Hidden
    files, a spreadsheet program's lock files and those next to a store are ignored.
    """
    files: list[LogFile] = []
    faults: list[IngestError] = []
    notes: list[str] = []
    for given in named:
        log = given if isinstance(given, LogFile) else LogFile.at(given)
        path = log.path
        try:
            if path.is_dir():
                files += [LogFile.at(inside) for inside in _files_of(path, notes)]
            elif path.is_file():
                files.append(log)
            elif path.exists():
                faults.append(IngestError(FileFault.UNREADABLE, str(path), why="no plain file"))
            else:
                faults.append(IngestError(FileFault.NOT_FOUND, str(path)))
        except IngestError as fault:
            faults.append(fault)
        except OSError as fault:
            faults.append(as_ingest_error(fault, str(path)))
    distinct = [plain for log in dict.fromkeys(files) for plain in _plain(log, folder, faults)]
    if len(distinct) > 1:
        distinct.sort(key=lambda log: (_place(log, profile_of), log.name, str(log.path)))
    return Found(tuple(distinct), tuple(faults), tuple(notes))


def _plain(log: LogFile, folder: Path, faults: list[IngestError]) -> list[LogFile]:
    """The plain files in a file, or a fault."""
    try:
        return plain_files(log, folder)
    except IngestError as fault:
        faults.append(fault)
    except OSError as fault:
        faults.append(as_ingest_error(fault, log.name))
    return []


def _files_of(folder: Path, notes: list[str]) -> list[Path]:
    found: list[Path] = []
    for path in sorted(folder.iterdir()):
        if path.name.startswith((".", "~$")) or path.name.endswith(("-wal", "-shm")):
            continue
        if path.is_dir():
            notes.append(folder_left_out_note(own_name(path)))
        elif path.suffix.casefold() in ENDINGS and path.is_file():
            found.append(path)
        else:
            notes.append(file_left_out_note(own_name(path)))
    if not found:
        raise IngestError(FileFault.NOTHING_IN_FOLDER, str(folder))
    return found


def _place(log: LogFile, profile_of: Callable[[LogFile], Profile]) -> int:
    """Place in the order of reading; a file whose name does not show it is opened."""
    try:
        profile = profile_of(log)
    except IngestError:
        return len(ORDER)  # reported when it is its turn
    named = profile.tables_named(log.stem) or [table_of_name(log.stem) or ""]
    if named[0]:
        return ORDER[named[0]]
    try:
        return min(ORDER[part.table] for part in open_file(log, profile, None).parts)
    except IngestError:
        return len(ORDER)  # reported when it is its turn


def open_file(log: LogFile, profile: Profile, table: str | None) -> Opened:
    """Open a file by its content, not by its ending.

    Parameters
    ----------
    log : LogFile
        The file.
    profile : Profile
        The source's profile.
    table : str or None
        Its table; None: found from names and header rows.

    Returns
    -------
    Opened
        One part a table.

    Raises
    ------
    IngestError
        It can't be read, is no table, is too large, or lacks heads.
    """
    try:
        match format_of(log):
            case Format.WORKBOOK:
                parts, notes = workbook_parts(log, profile, table)
            case Format.FHIR:
                parts, notes = fhir_parts(log, profile, table)
            case Format.PARQUET:
                parts, notes = [parquet_part(log, profile, table)], ()
            case _:
                parts, notes = [csv_part(log, profile, table)], ()
    except OSError as fault:
        raise as_ingest_error(fault, log.name) from None
    parts = [of_day for part in parts for of_day in by_day(part, profile)]
    return Opened(tuple(sorted(parts, key=lambda part: ORDER[part.table])), notes)


class Format(StrEnum):
    """What a file is by its content."""

    TEXT = "text"
    WORKBOOK = "workbook"
    PARQUET = "parquet"
    FHIR = "fhir"


def format_of(log: LogFile) -> Format:
    """Find what a file is by its first bytes.

    Raises
    ------
    IngestError
        It can't be read, or is none of these.
    """
    try:
        with log.path.open("rb") as stream:
            start = stream.read(_FIRST_BYTES)
        if start.startswith(_ZIP):
            return Format.WORKBOOK
        if start.startswith(_PARQUET):
            return Format.PARQUET
        if start.lstrip(_BEFORE_JSON)[:1] in {b"{", b"["} and is_fhir(start):
            return Format.FHIR
        _refuse_other_kinds(start, log)
    except OSError as fault:
        raise as_ingest_error(fault, log.name) from None
    return Format.TEXT


def _refuse_other_kinds(start: bytes, log: LogFile) -> None:
    """Refuse what is neither a workbook nor Parquet nor text."""
    file = log.name
    if not start.strip(b"\xef\xbb\xbf \t\r\n"):
        if len(start) < _FIRST_BYTES:
            raise IngestError(FileFault.EMPTY, file)
        raise IngestError(FileFault.NO_HEAD, file, row=1)
    if start.startswith(_OLE):
        protected = _PROTECTED in log.path.read_bytes()[:1_000_000]
        raise IngestError(FileFault.PASSWORD if protected else FileFault.OLD_WORKBOOK, file)
    if start.startswith(_PACKED):
        raise IngestError(FileFault.COMPRESSED, file)
    if start.startswith(_UTF_16):
        raise IngestError(FileFault.UTF_16, file)
    if log.ending in {".xlsx", ".xlsm", ".ods"}:
        raise IngestError(FileFault.BROKEN_WORKBOOK, file, why="it is no zip archive")
    if log.ending == ".parquet":
        raise IngestError(FileFault.BROKEN_PARQUET, file, why="it does not start as one")
    if start.count(0) > len(start) // 4 and (not any(start[::2]) or not any(start[1::2])):
        raise IngestError(FileFault.UTF_16, file)
    strange = sum(start.count(byte) for byte in (*range(9), *range(14, 32)))
    if strange > len(start) // 50 or start.startswith((b"%PDF", b"{\\rtf")):
        raise IngestError(FileFault.BINARY, file)


def as_ingest_error(fault: OSError, file: str) -> IngestError:
    """Return the sentence for a fault of the operating system."""
    if isinstance(fault, FileNotFoundError):
        return IngestError(FileFault.NOT_FOUND, file)
    if isinstance(fault, PermissionError):
        return IngestError(FileFault.NOT_ALLOWED, file)
    return IngestError(FileFault.UNREADABLE, file, why=fault.strerror or type(fault).__name__)


def tables_of(parts: Sequence[Part]) -> list[str]:
    """Tables of a file's parts in order of reading, each once."""
    return list(dict.fromkeys(part.table for part in parts))
