"""How is dwell time grouped, and how does the address say it?"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.addresses.reading import read


@dataclass(frozen=True)
class DwellChoice:
    """How dwell time is split."""

    by: str = "all"


def read_dwell(search: str | None) -> DwellChoice:
    """Choice of the dwell page from the address's query."""
    return read(DwellChoice, search, {"by": "by"})
