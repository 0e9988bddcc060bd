"""Tables as files for other programs: each with its data dictionary, the same bytes each time.

What is written is what the commands and pages show, made by the same functions. A de-identified
extract is for people outside the team; a statement lists what in it remains identifiable.
"""

from analysis.exports.about import about_page, left_out_words
from analysis.exports.catalogue import OF_A_COMMAND, TABLES, Table
from analysis.exports.closed import closed
from analysis.exports.deidentified import Extract, deidentify
from analysis.exports.folder import ExportError, without_times, write_folder
from analysis.exports.identifiable import alone
from analysis.exports.linked import dated_by_end, read_off
from analysis.exports.pseudonyms import Key, key_of_file
from analysis.exports.records import RECORDS, record_tables, without
from analysis.exports.statement import statement
from analysis.vocabulary import As, Private, Versions

__all__ = [
    "OF_A_COMMAND",
    "RECORDS",
    "TABLES",
    "As",
    "ExportError",
    "Extract",
    "Key",
    "Private",
    "Table",
    "Versions",
    "about_page",
    "alone",
    "closed",
    "dated_by_end",
    "deidentify",
    "key_of_file",
    "left_out_words",
    "read_off",
    "record_tables",
    "statement",
    "without",
    "without_times",
    "write_folder",
]
