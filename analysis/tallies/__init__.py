"""Days and events of each line become counts that add up to any group.

Every number of the programme is a sum of these rows: over lines, months, dressing types
and age bands, over families, and over any split of the programme into families.
"""

from analysis.tallies.between import between
from analysis.tallies.joined import joined
from analysis.tallies.tally import Tallies, of_lines, of_sites, tally, tally_lines

__all__ = ["Tallies", "between", "joined", "of_lines", "of_sites", "tally", "tally_lines"]
