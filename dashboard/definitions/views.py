"""What does the page of definitions show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Rule:
    """One setting of the policy in force."""

    meaning: str
    value: str
    source: str


@dataclass(frozen=True)
class Quantity:
    """One number that pages show: what it means, and an example calculated by hand."""

    key: str
    title: str
    words: str
    unit: str
    source: str
    example: str
    answer: str


@dataclass(frozen=True)
class PolicyView:
    """The policy edition in force on the as-of day, in words."""

    policy: str
    """Its name and version."""
    effective_from: date
    intervals: tuple[Rule, ...]
    settings: tuple[Rule, ...]
    findings: tuple[Rule, ...]
    quantities: tuple[Quantity, ...] = ()
