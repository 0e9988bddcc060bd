"""What does each number mean, in words, with its unit, source and an example worked by hand?

The tests run every example; the dashboard and the notebooks print the same objects, so what
a reader sees what was checked.
"""

from analysis.definitions.dwell_time import DWELL_TIME
from analysis.definitions.measures import CARE_AND_RATES
from analysis.definitions.model import Definition, Example
from analysis.definitions.retraining import NEEDS

DEFINITIONS = (*CARE_AND_RATES, *DWELL_TIME, *NEEDS)
"""Every quantity a screen shows, in reading order."""

__all__ = ["DEFINITIONS", "Definition", "Example"]
