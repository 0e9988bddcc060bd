"""How are the parts of a workbook that are XML read piece by piece, and never too much of them?"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

from analysis.ingest.faults import IngestError
from analysis.ingest.limits import SHEET_CELLS
from analysis.ingest.reasons import FileFault, Refusal

_BLOCK = 1_000_000


@dataclass
class Hidden:
    """Cells of a sheet that the reader shows as blank: (row, column), from 0, to text and why."""

    cells: dict[tuple[int, int], tuple[str, Refusal]] = field(default_factory=dict)


def pieces(archive: zipfile.ZipFile, member: str) -> Iterator[bytes]:
    """A member's bytes; `zipfile` stops at the declared size and checks the sum."""
    with archive.open(member) as stream:
        while piece := stream.read(_BLOCK):
            yield piece


def local(tag: str) -> str:
    """A tag without its namespace."""
    return tag.rpartition(":")[2]


def parse(content: Iterator[bytes], start: Callable[[str, dict[str, str]], None]) -> None:
    """Call `start` at each element."""
    parser = new_parser()
    parser.StartElementHandler = start
    for piece in content:
        parser.Parse(piece, False)
    parser.Parse(b"", True)


def new_parser() -> expat.XMLParserType:
    """A parser that refuses entities of a file's own."""
    parser = expat.ParserCreate()
    parser.EntityDeclHandler = _no_entities
    parser.buffer_text = True
    return parser


def _no_entities(*_: object) -> None:
    raise expat.ExpatError("it declares XML entities, which no workbook needs")


def check_extent(rows: int, columns: int, sheet: str, file: str) -> None:
    """Refuse a sheet whose filled part spans too many cells."""
    if rows * columns > SHEET_CELLS:
        raise IngestError(
            FileFault.SHEET_TOO_LARGE, file, sheet=sheet, rows=f"{rows:,}", columns=f"{columns:,}"
        )
