"""What did one morning's list say of every family with a line at home?"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.calls import CallList, call_list
from analysis.decisions.recent_signs import recent_signs
from analysis.policy import Policy
from analysis.tables.backtest import MORNINGS
from analysis.tables.records import Records
from analysis.timeline import Timeline, build
from analysis.vocabulary import Band, DressingType, Task


def morning(records: Records, policy: Policy, day: date) -> pd.DataFrame:
    """Make a morning's call list and put it next to all families it chose from.

    Parameters
    ----------
    records : Records
        As known that morning; see `analysis.decisions.history`.
    policy : Policy
        The edition in force on the day decides.
    day : date
        Day of the list.

    Returns
    -------
    DataFrame
        Columns of `MORNINGS`, one row a family with a line at home, by family code.
    """
    timeline = build(records, policy, day)
    return with_families(timeline, records, call_list(timeline, records, policy))


def with_families(timeline: Timeline, records: Records, calls: CallList) -> pd.DataFrame:
    """Put a call list next to all families with a line at home on its day."""
    lines = timeline.lines[timeline.lines["at_home"]]
    care = timeline.care
    care = care[(care["task"] == Task.DRESSING).to_numpy()].set_index("line")
    care = care.reindex(lines["line"])
    n_lines = len(timeline.lines)
    skin = np.bincount(timeline.skin_events["line"], minlength=n_lines)
    periods = timeline.home_periods
    left = periods.loc[(periods["ended_by"] == "admission").to_numpy(dtype=bool), "line"]
    stays = np.bincount(left, minlength=n_lines)
    now = pd.Timestamp(timeline.as_of)
    own = pd.DataFrame(
        {
            "family": lines["family"].to_numpy(),
            "site": lines["site"].to_numpy(),
            "lines": 1,
            "scored": care["intervals_scored"].to_numpy(),
            "late": (care["intervals_scored"] - care["intervals_on_time"]).to_numpy(),
            "skin_events": skin[lines["line"].to_numpy()],
            "days_overdue": care["days_overdue"].to_numpy(),
            "days_since_change": (now - care["last_change_on"]).dt.days.to_numpy(),
            "gauze": _under_gauze(timeline)[lines["line"].to_numpy()],
            "days_at_home": (now - _home_since(timeline, lines)).dt.days.to_numpy(),
            "stays": stays[lines["line"].to_numpy()],
        }
    )
    # Before: one row a line at home; after: one row a family.
    sums = dict.fromkeys(("lines", "scored", "late", "skin_events", "stays"), "sum")
    most = dict.fromkeys(("days_overdue", "days_since_change", "gauze"), "max")
    by_family = own.groupby("family").agg({"site": "first", **sums, **most, "days_at_home": "min"})
    families = timeline.families.set_index("family").loc[by_family.index]
    frame = by_family.assign(
        family_id=families["family_id"],
        silent=families["silent"],
        silent_days=families["silent_days"],
    )
    for name, values in recent_signs(timeline, records).loc[by_family.index].items():
        frame[name] = pd.array(values.to_numpy(), dtype="Float64")
    listed = calls.families.set_index("family_id")
    place = listed.index.get_indexer(pd.Index(frame["family_id"]))
    frame["rank"] = listed["rank"].array.take(place, allow_fill=True)
    frame["reasons"] = listed["reasons"].array.take(place, allow_fill=True)
    bands = [str(b) for b in Band]
    band_of = np.append(listed["band"].astype("object").to_numpy(), str(Band.NO_CALL))
    frame["band"] = pd.Categorical(band_of[place], categories=bands)
    frame["morning"] = pd.Series(now, index=frame.index).astype("datetime64[s]")
    return MORNINGS.check(_typed(frame).sort_values("family_id", ignore_index=True))


def _under_gauze(timeline: Timeline) -> npt.NDArray[np.bool_]:
    """By line, whether gauze is in force: by the open interval, else by the registry."""
    worn = timeline.lines["dressing_type"].astype("object").to_numpy(copy=True)
    spans = timeline.intervals
    is_open = (spans["task"] == Task.DRESSING) & (spans["ended_by"] == "as_of")
    spans = spans[is_open.to_numpy(dtype=bool)]
    worn[spans["line"].to_numpy()] = spans["dressing_type"].astype("object").to_numpy()
    return np.asarray(worn == str(DressingType.GAUZE), dtype=np.bool_)


def _home_since(timeline: Timeline, lines: pd.DataFrame) -> pd.Series[pd.Timestamp]:
    """By line at home, the day it came home or back; the as-of day for one that just came."""
    periods = timeline.home_periods
    now = periods[(periods["ended_by"] == "as_of").to_numpy(dtype=bool)]
    since = now.groupby("line")["start_on"].max().reindex(lines["line"])
    return since.fillna(pd.Timestamp(timeline.as_of))


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    types: dict[str, Any] = {c.name: c.dtype for c in MORNINGS.columns}
    return frame.astype({n: t for n, t in types.items() if t != "category"})
