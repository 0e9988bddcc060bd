"""Keeps every row ever received, and gives back what was known at any time.

SQLite by default, PostgreSQL by address. Rows are only added; a correction is a later
version of its key; a file goes in whole or not at all.
"""

from analysis.store.faults import StoreError
from analysis.store.known import Registry
from analysis.store.provenance import FileBefore, SourceRow, TableCount
from analysis.store.store import Store
from analysis.store.writing import Added, FileInfo, Writer

__all__ = [
    "Added",
    "FileBefore",
    "FileInfo",
    "Registry",
    "SourceRow",
    "Store",
    "StoreError",
    "TableCount",
    "Writer",
]
