"""How long are the texts of a sheet together, before it is opened?

A workbook names a text once and uses it in many cells; to the reader each use is a text.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.ingest.faults import IngestError
from analysis.ingest.limits import SHEET_TEXT
from analysis.ingest.reasons import FileFault
from analysis.ingest.workbook_xml import pieces

_MEMBER = "xl/sharedStrings.xml"
_LONGEST = 20_000_000
"""Most bytes of one element: a cell holds 32,767 characters."""
_ITEM = re.compile(rb"</(?:[A-Za-z0-9]+:)?si>|<(?:[A-Za-z0-9]+:)?si\s*/>")
_TAG = re.compile(rb"<[^>]*>")
_USES = re.compile(rb'<c [^>]*t="s"[^>]*><v>([0-9]{1,9})')
_SPACED = re.compile(rb"\s=|=\s")


@dataclass(frozen=True)
class SharedTexts:
    """Lengths in bytes of the texts that cells of a workbook share, in order of their number."""

    lengths: npt.NDArray[np.int64]

    @classmethod
    def of(cls, archive: zipfile.ZipFile) -> SharedTexts:
        """Measure them, piece by piece."""
        if _MEMBER not in archive.namelist():
            return cls(np.zeros(0, np.int64))
        lengths: list[int] = []
        rest = b""
        for piece in pieces(archive, _MEMBER):
            *items, rest = _ITEM.split(rest + piece)
            if len(rest) > _LONGEST:
                raise ValueError("a text in it does not end")
            lengths += [len(_TAG.sub(b"", item)) for item in items]
        return cls(np.array(lengths, np.int64))

    def length(self, number: str) -> int:
        """Length of the text that a cell names by its number; 0: there is none."""
        at = int(number) if number.strip().isdecimal() else -1
        return int(self.lengths[at]) if 0 <= at < len(self.lengths) else 0

    def used_in(self, content: Iterator[bytes]) -> int | None:
        """Length of all uses in a sheet; None: a look at the bytes does not show it."""
        if not len(self.lengths):
            return 0
        total = 0
        for text in _cut(content, b"<c "):
            if _SPACED.search(text) or b"'" in text:
                return None
            at = np.array(_USES.findall(text), dtype=np.int64)
            if len(at) != text.count(b't="s"'):
                return None
            total += int(self.lengths[at[at < len(self.lengths)]].sum())
        return total


def _cut(content: Iterator[bytes], before: bytes) -> Iterator[bytes]:
    """The same bytes in pieces that each end in front of the last such sign."""
    rest = b""
    for piece in content:
        text = rest + piece
        cut = max(text.rfind(before), 0)
        yield text[:cut]
        rest = text[cut:]
        if len(rest) > _LONGEST:
            raise ValueError("a cell in it does not end")
    yield rest


def check_text(length: int, sheet: str, file: str) -> None:
    """Refuse a sheet whose texts are too long together."""
    if length > SHEET_TEXT:
        raise IngestError(FileFault.TOO_MUCH_TEXT, file, sheet=sheet)
