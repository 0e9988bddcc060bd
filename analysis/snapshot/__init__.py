"""What is known of every line on a day, as known at a time? One frozen object answers.

Screens, commands and notebooks take a snapshot and read their tables off it, so that they
cannot disagree.
"""

from analysis.snapshot.saved import save
from analysis.snapshot.sites import of_lines, of_sites
from analysis.snapshot.snapshot import Snapshot
from analysis.snapshot.taking import end_of_day, take

__all__ = ["Snapshot", "end_of_day", "of_lines", "of_sites", "save", "take"]
