"""Commands on lines and on care in date."""

from __future__ import annotations

from analysis.cli.options.lists import Adherence, Lines
from analysis.cli.output import show
from analysis.cli.partitioned import lines_asked, tallies_asked


def lines(asked: Lines) -> None:
    """List lines with their days and states."""
    show(lines_asked(asked), asked)


def adherence_table(asked: Adherence) -> None:
    """Show how often care was on time and in date."""
    from analysis.measures.adherence import adherence  # takes long to load

    show(adherence(tallies_asked(asked), asked.by, asked.task), asked)
