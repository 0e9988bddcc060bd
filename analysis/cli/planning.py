"""Commands on the next two weeks: what work is coming, and which kits run out."""

from __future__ import annotations

from datetime import timedelta
from functools import partial

from analysis.cli.opening import snapshot
from analysis.cli.options.deciding import Capacity, CapacityKits
from analysis.cli.output import show
from analysis.cli.progress import counting, waiting
from analysis.cli.replaying import RECENT_MORNINGS, recent_history
from analysis.decisions.capacity import capacity, kits_running_out
from analysis.decisions.many_mornings import to_call


def days_ahead(asked: Capacity) -> None:
    """Show changes due and calls to expect."""
    seen = snapshot(asked)
    days = [seen.as_of - timedelta(days=n) for n in range(RECENT_MORNINGS, 0, -1)]
    progress = partial(counting, "replaying mornings")
    with waiting("reading earlier versions"):
        history = recent_history(asked.store, seen, days)
    mornings = to_call(history, seen.policy, days, progress)
    show(capacity(seen.timeline, seen.records, seen.policy, mornings), asked)


def kits(asked: CapacityKits) -> None:
    """List kits that run out."""
    seen = snapshot(asked)
    show(kits_running_out(seen.timeline, seen.records, seen.policy), asked)
