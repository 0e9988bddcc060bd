"""Commands on whether practice and refreshers help: what they calculate takes long to load."""

from __future__ import annotations

from analysis.cli.opening import snapshot
from analysis.cli.options import deciding as options
from analysis.cli.output import show
from analysis.decisions.learning import learning_curve
from analysis.decisions.refreshers import refreshers, refreshers_by_family


def learning(asked: options.RetrainingLearning) -> None:
    """Show the share missed by changes done."""
    seen = snapshot(asked)
    show(learning_curve(seen.practice, seen.records), asked)


def refresher_effect(asked: options.RetrainingRefreshers) -> None:
    """Show whether refreshers helped."""
    seen = snapshot(asked)
    show(refreshers(seen.practice, seen.records), asked)


def last_refresher(asked: options.RetrainingLastRefresher) -> None:
    """Show each family before and after its last refresher."""
    seen = snapshot(asked)
    show(refreshers_by_family(seen.practice, seen.records), asked)
