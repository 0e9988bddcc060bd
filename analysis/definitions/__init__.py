"""What does each number mean, in words, with its unit, source and an example worked by hand?

The tests run every example; the dashboard and the notebooks print the same objects, so what
a reader is told is what was checked.
"""

from analysis.definitions.measures import DEFINITIONS
from analysis.definitions.model import CAUTIONS, Definition, Example

__all__ = ["CAUTIONS", "DEFINITIONS", "Definition", "Example"]
