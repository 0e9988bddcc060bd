"""Commands on the next two weeks: what work is coming, and which kits run out."""

from __future__ import annotations

from datetime import timedelta

from analysis.cli.opening import snapshot
from analysis.cli.options.deciding import Capacity, CapacityKits
from analysis.cli.output import show
from analysis.cli.replaying import RECENT_MORNINGS, replay
from analysis.decisions.capacity import capacity, kits_running_out


def days_ahead(asked: Capacity) -> None:
    """Show changes due and calls to expect."""
    seen = snapshot(asked)
    days = [seen.as_of - timedelta(days=n) for n in range(RECENT_MORNINGS, 0, -1)]
    mornings = replay(asked.store, asked.policy, days)
    show(capacity(seen.timeline, seen.records, seen.policy, mornings), asked)


def kits(asked: CapacityKits) -> None:
    """List kits that run out."""
    seen = snapshot(asked)
    show(kits_running_out(seen.timeline, seen.records, seen.policy), asked)
