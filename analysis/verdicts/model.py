"""What does every verdict have?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True)
class Verdict:
    """What a statistic means. Each kind of verdict adds the numbers that its sentence rests on."""

    code: StrEnum
    """From the closed list of its kind; tests and exports use it, never the sentence."""
    sentence: str
    """One or more full sentences in plain English, as pages and reports show them."""
