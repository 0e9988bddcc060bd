"""Which plain files are in a file that is compressed, packed, UTF-16 or JSON?

Each is written as a plain UTF-8 file into a folder that is deleted after the ingest, and never
larger than the limits.
"""

from __future__ import annotations

import codecs
import csv
import gzip
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePath
from typing import Any

import orjson

from analysis.ingest.faults import IngestError
from analysis.ingest.fhir_file import is_fhir
from analysis.ingest.json_lines import broken, json_lines
from analysis.ingest.limits import (
    JSON_BYTES,
    PACKED_FILES,
    UNPACKED_BYTES,
    UNPACKED_RATIO,
)
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault
from analysis.ingest.workbook_file import cell_text

_ZIP, _GZIP = b"PK\x03\x04", b"\x1f\x8b"
_FIRST_BYTES = 8192
_BLOCK = 1_000_000
_SMALL = 20_000_000
"""Unpacked size up to which the ratio does not matter."""
_TEXT = frozenset({".csv", ".tsv", ".txt"})
_LINES = frozenset({".ndjson", ".jsonl"})


def plain_files(log: LogFile, folder: Path) -> list[LogFile]:
    """Return the plain files in a file: itself, if it is one.

    Parameters
    ----------
    log : LogFile
        Any file.
    folder : Path
        Where plain files are written.

    Returns
    -------
    list of LogFile
        Files of an archive are named ``archive.zip/home_log.csv``, tables of a JSON object
        ``export.json/home_log``.

    Raises
    ------
    IngestError
        It is damaged, has a password, or unpacks to more than the limits.
    """
    with log.path.open("rb") as stream:
        start = stream.read(_FIRST_BYTES)
    if start.startswith(_GZIP):
        return plain_files(_unzipped(log, folder), folder)
    if start.startswith(_ZIP) and (members := _members(log)) is not None:
        return [
            plain
            for name in members
            for plain in plain_files(_extracted(log, name, folder), folder)
        ]
    if (encoding := _utf_16(start)) is not None:
        return [_as_utf8(log, encoding, folder)]
    is_json = start.removeprefix(codecs.BOM_UTF8).lstrip()[:1] in {b"{", b"["}
    if is_json and not is_fhir(start) and log.ending not in _TEXT:
        return _of_json(log, folder)
    return [log]


def _free(folder: Path) -> Path:
    return folder / f"plain-{sum(1 for _ in folder.iterdir())}"


def _copied(log: LogFile, name: str, source: Any, folder: Path) -> LogFile:
    """Write what a stream unpacks to, within the limits."""
    path, size, own = _free(folder), 0, max(log.path.stat().st_size, 1)
    with path.open("wb") as out:
        while block := source.read(_BLOCK):
            size += len(block)
            if size > UNPACKED_BYTES or (size > _SMALL and size / own > UNPACKED_RATIO):
                raise IngestError(
                    FileFault.UNPACKS_TOO_LARGE,
                    log.name,
                    size=f"more than {size / 1e6:,.0f} MB",
                    ratio=f"{size / own:,.0f}",
                )
            out.write(block)
    return LogFile(path, name)


def _unzipped(log: LogFile, folder: Path) -> LogFile:
    name = log.name[:-3] if log.name.casefold().endswith(".gz") else log.name
    try:
        with gzip.open(log.path, "rb") as stream:
            return _copied(log, name, stream, folder)
    except (gzip.BadGzipFile, EOFError, zlib.error) as fault:
        raise IngestError(FileFault.BROKEN_ARCHIVE, log.name, why=str(fault)) from None


def _members(log: LogFile) -> list[str] | None:
    """Files of a zip archive; None: it is a workbook, or damaged, which its reader reports."""
    try:
        with zipfile.ZipFile(log.path) as archive:
            names = archive.namelist()
    except zipfile.BadZipFile:
        return None
    if {"xl/workbook.xml", "content.xml"} & set(names) or any(n.startswith("xl/") for n in names):
        return None
    files = [n for n in names if not n.endswith("/") and not _is_hidden(n)]
    if not files or len(files) > PACKED_FILES:
        raise IngestError(FileFault.ARCHIVE, log.name)
    return files


def _is_hidden(member: str) -> bool:
    return any(part.startswith((".", "~$", "__MACOSX")) for part in PurePath(member).parts)


def _extracted(log: LogFile, member: str, folder: Path) -> LogFile:
    """One file of an archive; an archive in an archive is not opened."""
    try:
        with zipfile.ZipFile(log.path) as archive, archive.open(member) as stream:
            found = _copied(log, f"{log.name}/{PurePath(member).name}", stream, folder)
    # NotImplementedError: a compression that is not known.
    except (zipfile.BadZipFile, EOFError, NotImplementedError, zlib.error) as fault:
        raise IngestError(FileFault.BROKEN_ARCHIVE, log.name, why=str(fault)) from None
    except RuntimeError:  # encrypted
        raise IngestError(FileFault.PASSWORD, log.name) from None
    with found.path.open("rb") as stream:
        start = stream.read(len(_ZIP))
    if start.startswith(_GZIP) or (start == _ZIP and _members(found) is not None):
        raise IngestError(FileFault.COMPRESSED, found.name)
    return found


def _utf_16(start: bytes) -> str | None:
    """The encoding of a text in UTF-16, with or without its mark."""
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    half = len(start) // 2
    if half < 8:
        return None
    if start[1::2].count(0) > 0.9 * half and not start[::2].count(0):
        return "utf-16-le"
    if start[::2].count(0) > 0.9 * half and not start[1::2].count(0):
        return "utf-16-be"
    return None


def _as_utf8(log: LogFile, encoding: str, folder: Path) -> LogFile:
    path = _free(folder)
    try:
        with (
            log.path.open(encoding=encoding, newline="") as text,
            path.open("w", encoding="utf-8", newline="") as out,
        ):
            while block := text.read(_BLOCK):
                out.write(block)
    except UnicodeError:
        raise IngestError(FileFault.UTF_16, log.name) from None
    return LogFile(path, log.name)


# JSON


def _of_json(log: LogFile, folder: Path) -> list[LogFile]:
    """Tables of a JSON file as CSV files: a list of objects, lists by name, or an object a line."""
    if log.ending in _LINES or _has_an_object_a_line(log):
        return [_as_csv(log, log.name, lambda: _lines(log), folder)]
    if log.path.stat().st_size > JSON_BYTES:
        raise IngestError(FileFault.JSON_TOO_LARGE, log.name)
    try:
        whole = orjson.loads(log.path.read_bytes().removeprefix(codecs.BOM_UTF8))
    except orjson.JSONDecodeError as fault:
        raise broken(log, fault.lineno, fault.msg) from None
    tables = {"": whole}
    if isinstance(whole, dict):
        lists = {n: v for n, v in whole.items() if isinstance(v, list) and v and _objects(v)}
        tables = lists or {"": [whole]}
    if not all(_objects(rows) for rows in tables.values()):
        raise IngestError(FileFault.NO_OBJECTS, log.name)
    return [
        _as_csv(log, f"{log.name}/{name}" if len(tables) > 1 else log.name, rows.__iter__, folder)
        for name, rows in tables.items()
    ]


def _objects(rows: Any) -> bool:
    return isinstance(rows, list) and bool(rows) and all(isinstance(row, dict) for row in rows)


def _has_an_object_a_line(log: LogFile) -> bool:
    """Whether the first two lines are an object each."""
    try:
        first = list(zip(_lines(log), range(2), strict=False))
    except IngestError:
        return False
    return len(first) == 2


def _lines(log: LogFile) -> Iterator[dict[str, Any]]:
    for _, row in json_lines(log):
        if not isinstance(row, dict):
            raise IngestError(FileFault.NO_OBJECTS, log.name)
        yield row


def _as_csv(log: LogFile, name: str, rows: Any, folder: Path) -> LogFile:
    """Objects as rows of a CSV file under all heads that any of them has."""
    heads: dict[str, None] = {}
    for row in rows():
        heads |= dict.fromkeys(head for head, _ in _cells(row))
        if len(heads) > PACKED_FILES:
            raise IngestError(FileFault.NO_OBJECTS, log.name)
    path = _free(folder)
    with path.open("w", encoding="utf-8", newline="") as out:
        sheet = csv.DictWriter(out, list(heads), restval="")
        sheet.writeheader()
        for row in rows():
            sheet.writerow(dict(_cells(row)))
    return LogFile(path, name)


def _cells(row: dict[str, Any], above: str = "") -> Iterable[tuple[str, str]]:
    """Heads and cells of an object; those of an object in it are joined by a point."""
    for name, value in row.items():
        head = f"{above}{name}"
        if isinstance(value, dict):
            yield from _cells(value, f"{head}.")
        else:
            yield head, _text(value)


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        if any(isinstance(one, dict | list) for one in value):
            return orjson.dumps(value).decode()
        return ";".join(_text(one) for one in value)
    return cell_text(value) or ""
