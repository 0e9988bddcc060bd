"""How is dwell time grouped, and how does the address say it?"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qs


@dataclass(frozen=True)
class DwellChoice:
    """How dwell time is split."""

    by: str = "all"


def read_dwell(search: str | None) -> DwellChoice:
    """Choice of the dwell page from the address's query."""
    return DwellChoice(parse_qs((search or "").lstrip("?")).get("by", ["all"])[0])
