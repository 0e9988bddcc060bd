"""Tables as files for other programs: each with its data dictionary, the same bytes each time.

What is written is what the commands and pages show, made by the same functions.
"""

from analysis.exports.about import about_page, left_out_words
from analysis.exports.catalogue import OF_A_COMMAND, TABLES, Table
from analysis.exports.folder import As, ExportError, write_folder
from analysis.exports.records import RECORDS, Private, Versions, record_tables, without

__all__ = [
    "OF_A_COMMAND",
    "RECORDS",
    "TABLES",
    "As",
    "ExportError",
    "Private",
    "Table",
    "Versions",
    "about_page",
    "left_out_words",
    "record_tables",
    "without",
    "write_folder",
]
