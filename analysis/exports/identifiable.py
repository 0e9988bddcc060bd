"""How many children of an extract are the only one with what someone may know of them?

*Source:* k-anonymity: Sweeney (2002), doi 10.1142/S0218488502001648: a child is one of as many as
share all its values.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis.days import days_of
from analysis.exports.catalogue import Table
from analysis.stats.small_cells import LARGEST_HIDDEN

KNOWN_OUTSIDE = ("site", "age_band", "line_type", "therapy")
"""What a neighbour or another clinic may know of a line."""
DAYS_A_MONTH = 30


def alone(tables: Mapping[str, Table]) -> pd.DataFrame:
    """Count children by how many share what may be known of them.

    Parameters
    ----------
    tables : mapping of str to Table
        An extract's tables: `lines` and `home_periods`.

    Returns
    -------
    DataFrame
        One row a kind of knowledge: `known` (in words), `children`, `alone` (no other child has
        the same), `few` (at most ten have, itself among them), `fewest` (children of the smallest
        group).
    """
    lines = tables["lines"].frame
    periods = tables["home_periods"].frame
    days = days_of(periods["end_on"]) - days_of(periods["start_on"])
    at_home = pd.Series(days).groupby(periods["line_id"].to_numpy()).sum()
    nights = lines["line_id"].map(at_home).fillna(0).astype("int64")
    traits = lines[list(KNOWN_OUTSIDE)].astype("string").fillna("")
    facts = (
        ("site, age band, kind of line, therapy and number of lines", traits),
        ("the same and the months at home", traits.assign(length=nights // DAYS_A_MONTH)),
        ("the same and the days at home", traits.assign(length=nights)),
    )
    rows = [(words, *_sizes(lines["child_id"], known)) for words, known in facts]
    return pd.DataFrame(rows, columns=["known", "children", "alone", "few", "fewest"])


def _sizes(children: pd.Series[str], traits: pd.DataFrame) -> tuple[int, int, int, int]:
    # before: one row a line; after: one row a child, the sum of its lines' hashes (in no order)
    line = pd.util.hash_pandas_object(traits.astype("string"), index=False)
    child = line.groupby(children.to_numpy()).sum()
    size = child.groupby(child).transform("size").to_numpy()
    few = np.count_nonzero(size <= LARGEST_HIDDEN)
    return len(size), int(np.count_nonzero(size == 1)), int(few), int(size.min())
