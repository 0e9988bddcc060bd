"""Records in parts with whole families, for calculating them apart: on several cores or machines.

Everything about a family follows from its own rows, so parts may be calculated anywhere and in any
order; what is joined afterwards is equal to the last bit to a calculation of all at once.
"""

from analysis.partitions.calculate import (
    curves_of_parts,
    lines_of_parts,
    sentences_of_parts,
    tallies_of_parts,
)
from analysis.partitions.folder import Partitions, PartitionsError, opened, write_partitions
from analysis.partitions.runners import Runner, in_processes, in_turn, on_cluster

__all__ = [
    "Partitions",
    "PartitionsError",
    "Runner",
    "curves_of_parts",
    "in_processes",
    "in_turn",
    "lines_of_parts",
    "on_cluster",
    "opened",
    "sentences_of_parts",
    "tallies_of_parts",
    "write_partitions",
]
