"""Which files are read, in which order, and what kind of file is each?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from analysis.ingest.csv_file import csv_part
from analysis.ingest.entries import by_entry
from analysis.ingest.faults import IngestError
from analysis.ingest.fhir_file import fhir_parts, is_fhir
from analysis.ingest.heads import table_of_name
from analysis.ingest.notes import file_left_out_note, folder_left_out_note, link_left_out_note
from analysis.ingest.parquet_file import parquet_part
from analysis.ingest.profile import Profile
from analysis.ingest.raw import LogFile, Part, own_name
from analysis.ingest.reasons import FileFault
from analysis.ingest.unpack import plain_files
from analysis.ingest.wide import by_day
from analysis.ingest.workbook_file import workbook_parts
from analysis.ingest.workbook_old import OLE, is_xls
from analysis.tables.incoming import INCOMING

ENDINGS = frozenset(
    {".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xlsb", ".xls", ".ods", ".parquet"}
    | {".json", ".ndjson", ".jsonl", ".gz", ".zip"}
)
"""Endings of the files that a folder is searched for."""

MOST_FOLDERS = 20
"""Folders in folders that are searched."""
ORDER = {table: at for at, table in enumerate(INCOMING)}
"""Place of each table in the order of reading: the registry before what names its lines."""

_FIRST_BYTES = 8192
_ZIP, _PARQUET = b"PK\x03\x04", b"PAR1"
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
                files += _files_of(path, notes)
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
    distinct = _with_fhir_others(distinct)
    if len(distinct) > 1:
        distinct.sort(key=lambda log: (_place(log, profile_of), log.name, str(log.path)))
    return Found(tuple(distinct), tuple(faults), tuple(notes))


def _with_fhir_others(logs: Sequence[LogFile]) -> list[LogFile]:
    """The same files, those of FHIR resources with the others of them."""
    fhir = [log for log in logs if len(logs) > 1 and _is_fhir(log)]
    return [
        replace(log, fhir_others=tuple(other for other in fhir if other is not log))
        if any(log is one for one in fhir)
        else log
        for log in logs
    ]


def _is_fhir(log: LogFile) -> bool:
    with suppress(IngestError):
        return format_of(log) is Format.FHIR
    return False


def _plain(log: LogFile, folder: Path, faults: list[IngestError]) -> list[LogFile]:
    """The plain files in a file, or a fault."""
    try:
        with no_other_fault(log):
            return plain_files(log, folder)
    except IngestError as fault:
        faults.append(fault)
    except OSError as fault:
        faults.append(as_ingest_error(fault, log.name))
    return []


def _files_of(folder: Path, notes: list[str]) -> list[LogFile]:
    """Files of a folder and of the folders in it, these named with their folder."""
    found = _files_below(folder, "", notes)
    if not found:
        raise IngestError(FileFault.NOTHING_IN_FOLDER, str(folder))
    return found


def _files_below(folder: Path, above: str, notes: list[str]) -> list[LogFile]:
    found: list[LogFile] = []
    for path in sorted(folder.iterdir()):
        if path.name.startswith((".", "~$")) or path.name.endswith(("-wal", "-shm")):
            continue
        name = f"{above}{own_name(path)}"
        if path.is_symlink() and not path.resolve().is_relative_to(folder.resolve()):
            # An account that may write into the folder does not choose what this account reads.
            notes.append(link_left_out_note(name))
        elif path.is_dir():
            # A link may lead back into the folder without end.
            if path.is_symlink() or above.count("/") >= MOST_FOLDERS:
                notes.append(folder_left_out_note(name))
            else:
                found += _files_below(path, f"{name}/", notes)
        elif path.suffix.casefold() in ENDINGS and path.is_file():
            found.append(LogFile(path, name))
        else:
            notes.append(file_left_out_note(name))
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
        with no_other_fault(log):
            parts = open_file(log, profile, None).parts
            return min((ORDER[part.table] for part in parts), default=len(ORDER))
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
    parts = [one for part in parts for day in by_day(part, profile) for one in by_entry(day)]
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
        if start.startswith(_ZIP) or (start.startswith(OLE) and is_xls(log.path.read_bytes())):
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
    if start.startswith(OLE):
        protected = _PROTECTED in log.path.read_bytes()[:1_000_000]
        raise IngestError(FileFault.PASSWORD if protected else FileFault.BINARY, file)
    if start.startswith(_PACKED):
        raise IngestError(FileFault.COMPRESSED, file)
    if start.startswith(_UTF_16):
        raise IngestError(FileFault.UTF_16, file)
    if log.ending in {".xlsx", ".xlsm", ".xlsb", ".ods"}:
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


@contextmanager
def no_other_fault(log: LogFile) -> Iterator[None]:
    """Take an error of a reader, which no check of ours foresaw, for damage of the file.

    So the file is named, and the files behind it are read.

    Raises
    ------
    IngestError
        In place of any error but one of the operating system.
    """
    try:
        yield
    except (IngestError, OSError):
        raise
    except BaseException as fault:
        # A reader that is not Python may give up with an error that is no `Exception`.
        if not isinstance(fault, Exception) and type(fault).__name__ != "PanicException":
            raise
        raise IngestError(FileFault.DAMAGED, log.name, why=type(fault).__name__) from fault


def tables_of(parts: Sequence[Part]) -> list[str]:
    """Tables of a file's parts in order of reading, each once."""
    return list(dict.fromkeys(part.table for part in parts))
