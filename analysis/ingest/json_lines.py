"""What does each line of a file with one JSON value a line hold?"""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from typing import Any

import orjson

from analysis.ingest.faults import IngestError
from analysis.ingest.limits import ROW_BYTES
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault


def json_lines(log: LogFile) -> Iterator[tuple[int, Any]]:
    """Number of each line that is not blank and its value; one line is in memory at a time.

    Raises
    ------
    IngestError
        A line is too long, or no JSON.
    """
    with log.path.open("rb") as stream:
        number = 0
        while line := stream.readline(ROW_BYTES):
            number += 1
            if len(line) >= ROW_BYTES and not line.endswith(b"\n"):
                raise IngestError(FileFault.ROW_TOO_LONG, log.name, row=number)
            text = line.removeprefix(codecs.BOM_UTF8).strip()
            if not text:
                continue
            try:
                value = orjson.loads(text)
            except orjson.JSONDecodeError as fault:
                raise broken(log, number, fault.msg) from None
            yield number, value


def broken(log: LogFile, row: int, why: str) -> IngestError:
    """A line that is no JSON."""
    return IngestError(FileFault.BROKEN_JSON, log.name, row=row, why=why)
