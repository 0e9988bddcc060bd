"""Where is every family today, on the call list or not, and by which codes is it found?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.decisions.calls import CallList
from analysis.decisions.joined_text import joined_by
from analysis.timeline import Timeline
from analysis.vocabulary import Band

NOT_AT_HOME = "not_at_home"
"""A line in place, and no child with one at home."""
NO_LINE = "no_line"
"""Every line was removed, or the family left the programme."""
PLACES = (*(str(band) for band in Band), NOT_AT_HOME, NO_LINE)
COLUMNS = (
    *("family_id", "place", "days_overdue", "silent", "last_heard_on", "nurse", "site"),
    *("n_lines", "codes"),
)


def every_family(calls: CallList, timeline: Timeline) -> pd.DataFrame:
    """List all families with the place of each on the call list, or why it has none.

    Parameters
    ----------
    calls : CallList
        Of the day.
    timeline : Timeline
        What it was made from.

    Returns
    -------
    DataFrame
        One row a family, in order of its code. ``place`` is the band, `NOT_AT_HOME` or `NO_LINE`;
        ``nurse`` and ``site`` are those of the lines that decide it, several joined by ``;``;
        ``n_lines`` counts the lines at home; ``codes`` holds the codes of family, children and
        lines, also of those that ended, joined by spaces. The other columns are as in
        `CALL_FAMILIES`.
    """
    lines = timeline.lines
    at_home = lines["at_home"].to_numpy(dtype=bool)
    is_over = (lines["end_on"] <= pd.Timestamp(calls.as_of)).to_numpy(dtype=bool)
    lines = lines.assign(step=np.where(at_home, 0, np.where(is_over, 2, 1)))
    # One row a line before; after, one a family with its line that is nearest to home.
    nearest = lines.groupby("family_id", sort=True)["step"].min()
    decide = lines[(lines["step"] == lines["family_id"].map(nearest)).to_numpy(dtype=bool)]
    listed = calls.families.set_index("family_id")
    silence = timeline.families.set_index("family_id")
    place = np.array([str(Band.NO_CALL), NOT_AT_HOME, NO_LINE])[nearest.to_numpy()]
    found = pd.DataFrame({"family_id": nearest.index.astype("string"), "place": place})
    family = found["family_id"]
    children, of_lines = _joined(lines, "child_id", " "), _joined(lines, "line_id", " ")
    band = family.map(listed["band"].astype("string"))
    overdue = family.map(listed["days_overdue"]).fillna(0)
    return found.assign(
        place=pd.Categorical(band.fillna(found["place"]), categories=list(PLACES), ordered=True),
        days_overdue=overdue.astype("int64"),
        silent=family.map(silence["silent"]).astype(bool) & (nearest.to_numpy() == 0),
        last_heard_on=family.map(silence["last_heard_on"]),
        nurse=family.map(_joined(decide, "nurse")).astype("string"),
        site=family.map(_joined(decide, "site")).astype("string"),
        n_lines=family.map(lines[at_home].groupby("family_id").size()).fillna(0).astype("int64"),
        codes=family
        + " "
        + family.map(children).astype("string")
        + " "
        + family.map(of_lines).astype("string"),
    )[list(COLUMNS)]


def _joined(lines: pd.DataFrame, column: str, mark: str = ";") -> pd.Series[str]:
    in_order = lines.sort_values(column)
    found = joined_by({"family_id": in_order["family_id"]}, in_order[column], mark)
    return found.set_index("family_id")["joined"]
