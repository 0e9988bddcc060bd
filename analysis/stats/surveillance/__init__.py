"""Has a rate risen, since when, and by how much? Prospective surveillance of many cells at once.

A cell is one event of one site, or of the programme. The statistic, its threshold for all cells
together, and the change it finds are one module each.
"""

from analysis.stats.surveillance.change import Change, change
from analysis.stats.surveillance.followed import Calendar, Units, followed
from analysis.stats.surveillance.statistic import Cells, log_statistic
from analysis.stats.surveillance.threshold import Threshold, largest_of, threshold

__all__ = [
    "Calendar",
    "Cells",
    "Change",
    "Threshold",
    "Units",
    "change",
    "followed",
    "largest_of",
    "log_statistic",
    "threshold",
]
