"""Commands on lines and on care in date."""

from __future__ import annotations

from analysis.cli.opening import snapshot
from analysis.cli.options.lists import Adherence, Lines
from analysis.cli.output import show
from analysis.measures import adherence, line_table


def lines(asked: Lines) -> None:
    """List lines with their days and states."""
    show(line_table(snapshot(asked).timeline, asked.task), asked)


def adherence_table(asked: Adherence) -> None:
    """Show how often care was on time and in date."""
    show(adherence(snapshot(asked).tallies, asked.by, asked.task), asked)
