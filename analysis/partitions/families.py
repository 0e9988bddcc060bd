"""Which families have to be calculated together, and in which part are they?

Families are linked by a line that moved from one to the other and by a child with lines in both.
Linked families are in one part; parts have about as many lines each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from analysis.tables import Records

Numbers = npt.NDArray[np.int64]
FIRST = 0
"""Part of rows that lead to no line of the registry."""


@dataclass(frozen=True)
class _Known:
    """The part of each code of one kind."""

    codes: pa.Array
    part: Numbers

    def of(self, asked: pa.Array) -> Numbers:
        """Parts of codes; -1: not known."""
        at = pc.index_in(asked, value_set=self.codes).fill_null(-1).to_numpy().astype(np.int64)
        return np.append(self.part, -1)[at]


@dataclass(frozen=True)
class Placed:
    """In which part each row of the records is."""

    line: _Known
    child: _Known
    family: _Known
    caregiver: _Known

    def of(self, table: str, rows: pa.Table) -> Numbers:
        """Parts of rows of a table: shape (rows,), from 0."""
        found = np.full(rows.num_rows, -1, dtype=np.int64)
        for column, known in (
            ("line_id", self.line),
            ("child_id", self.child),
            ("family_id", self.family),
            ("caregiver_id", self.caregiver),
        ):
            # An entry of a known line is that line's, of any writer and of any family that it names.
            if column in rows.column_names and (table != "home_log" or column != "caregiver_id"):
                codes = rows[column].combine_chunks().cast(pa.string())
                found = np.where(found < 0, known.of(codes), found)
        return np.where(found < 0, FIRST, found)


def place(records: Records, n_parts: int) -> Placed:
    """Find the part of every line, child, family and caregiver.

    Parameters
    ----------
    records : Records
        Its log is not read.
    n_parts : int
        Parts wanted, 1 or more; with few families some of them stay empty.

    Returns
    -------
    Placed
        The same for the same lines, in any order of their rows.
    """
    columns = ["line_id", "child_id", "family_id"]
    held = pd.concat([records.lines[columns], records.earlier_lines[columns]], ignore_index=True)
    (line, lines), (child, children), (family, families) = (
        pd.factorize(held[column].astype("string"), sort=True) for column in columns
    )
    # Before: one row a version of a line; after: one number a set of linked families.
    n_families, n_children = len(families), len(children)
    ends = np.concatenate([family, n_families + child]), np.tile(n_families + n_children + line, 2)
    n = n_families + n_children + len(lines)
    links = coo_array((np.ones(len(ends[0]), dtype=np.int8), ends), shape=(n, n))
    _, found = connected_components(links, directed=False)
    linked, _ = pd.factorize(found)  # families come first: numbered in their order
    of_family, of_child, of_line = np.split(linked, [n_families, n_families + n_children])
    weight = np.bincount(of_line)
    before = np.cumsum(weight) - weight
    part = before * n_parts // max(len(lines), 1)
    by_family = _Known(_arrow(families), part[of_family])
    caregivers = records.caregivers
    of_caregiver = by_family.of(_arrow(caregivers["family_id"]))
    return Placed(
        line=_Known(_arrow(lines), part[of_line]),
        child=_Known(_arrow(children), part[of_child]),
        family=by_family,
        caregiver=_Known(_arrow(caregivers["caregiver_id"]), of_caregiver),
    )


def _arrow(codes: pd.Index | pd.Series[str]) -> pa.Array:
    return pa.array(codes.to_numpy(dtype=object), type=pa.string())
