"""How large may a cell, a row, a sheet or an unpacked file be, and how old a date?

Project choices: far above what a log holds, low enough that no file can fill the memory.
"""

from datetime import date

RECEIPT_AHEAD_MICROSECONDS = 5 * 60 * 1_000_000
"""How far a receipt may lie ahead of the moment of ingest: clocks differ a little. A receipt in the
future would hide its row until then (definitions §2)."""

DAYS_AHEAD = {"home_from": 60, "recheck_on": 366}
"""Plans: how many days after its receipt a row may name a planned discharge, or the next call."""

OLD_AFTER_DAYS = 60
"""A row that was received this many days after it was done is old (project choice)."""

LEAST_OLD_ROWS = 20
"""A file of fewer old rows is not taken to be history (project choice)."""

CELL_CHARACTERS = 32_767
"""Longest cell: what a spreadsheet cell can hold."""

ROW_BYTES = 8_000_000
"""Longest row of a CSV file."""

BATCH_BYTES = 4_000_000
"""Text handled at once, about 50 000 rows of a log."""

BATCH_ROWS = 40_000
"""Rows handled at once where the source counts in rows."""

PACKED_FILES = 1000
"""Most files in one archive, and most heads of one JSON file."""

JSON_BYTES = 100_000_000
"""Largest JSON file that is not an object a line: it is read at once."""

UNPACKED_BYTES = 1_000_000_000
"""Most that a workbook or Parquet file may unpack to."""

UNPACKED_RATIO = 300
"""Most that a file of some size may unpack to, as a multiple of its own size."""

SHEET_CELLS = 30_000_000
"""Most cells that the filled part of a sheet may span, blank ones included."""

SHEET_TEXT = 200_000_000
"""Most characters of text in the cells of a workbook. A file names a text once and uses it in many
cells, each of which then takes its length in memory."""

EARLIEST = date(1990, 1, 1)
"""No line at home is older; 1900-01-01 and 1970-01-01 are what programs write for "no date"."""

EARLIEST_BORN = date(1950, 1, 1)
"""No child with a line at home was born earlier."""

LATEST = date(2100, 1, 1)
"""No date is later; a later one is a mistake."""
