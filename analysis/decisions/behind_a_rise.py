"""Which families had the events of a site since a month, what changed there, which steps are missed?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.decisions.practice import practice
from analysis.measures.counts import days_and_events, usual_basis
from analysis.measures.grouping import group_of
from analysis.measures.snapshot_data import SnapshotData
from analysis.measures.surveillance import PROGRAMME
from analysis.stats.intervals import PER
from analysis.tallies import of_lines, tally_lines
from analysis.vocabulary import Grouping

MIX = (Grouping.NURSE, Grouping.LINE_TYPE, Grouping.DRESSING_TYPE, Grouping.AGE_BAND)
"""By what the days and events of a site are split."""
FEWEST_SEEN = 5
"""Steps seen less often at the site since are not compared."""


@dataclass(frozen=True)
class BehindARise:
    """One event at one site, before and since a month."""

    families: pd.DataFrame
    """One row a family with an event since: ``family_id``, ``events``, ``last_on``, ``line_days``."""
    mix: dict[Grouping, pd.DataFrame]
    """One row a group: ``group``, ``share_before``, ``share_since`` (of line-days),
    ``events_before``, ``events_since``, ``rate_before``, ``rate_since`` (per 1000)."""
    steps: pd.DataFrame
    """One row a step: ``step``, ``seen``, ``missed``, ``share``, ``elsewhere_share`` (missing: not
    seen elsewhere); missed more here than elsewhere first. Empty for the programme."""
    kits: pd.DataFrame
    """Two rows, before and since: ``counts`` of dressing kits logged, and how many were ``low``."""


def behind_a_rise(data: SnapshotData, event: str, site: str, since: str) -> BehindARise:
    """Take apart the events of a site before and since a month.

    Parameters
    ----------
    data : SnapshotData
        As of a day, known at a time.
    event : str
        ``skin`` or an outcome.
    site : str
        As the files have it, or `PROGRAMME`.
    since : str
        Month, ``2031-03``; its first day is the first that counts as since.

    Returns
    -------
    BehindARise
        Shares and rates are missing where there are no line-days. It shows what goes together
        with a rise, not what caused it.

    *Source:* project definition, definitions §5 and §9.
    """
    begins = pd.Timestamp(f"{since}-01")
    tallies = data.tallies if site == PROGRAMME else of_lines(data.tallies, {"site": site})
    days, events = days_and_events(tallies, event, usual_basis(event))
    tables = {}
    for by in MIX:
        sums = {}
        for name, cells, column in (("days", days, "judged"), ("events", events, "count")):
            group = group_of(cells, tallies.lines, by).fillna("")
            for when, later in (("before", False), ("since", True)):
                part = ((cells["month"] >= begins) == later).to_numpy(dtype=bool)
                sums[f"{name}_{when}"] = cells.loc[part, column].groupby(group[part]).sum()
        found = pd.DataFrame(sums).fillna(0).astype("int64")
        found = found[(found != 0).any(axis=1)].rename_axis("group").reset_index()
        for when in ("before", "since"):
            of = found[f"days_{when}"].astype("float64")
            found[f"share_{when}"] = of / (of.sum() or np.nan)
            found[f"rate_{when}"] = PER * found[f"events_{when}"] / of.where(of > 0)
        found["group"] = found["group"].replace("", None)
        tables[by] = found.sort_values("events_since", ascending=False, ignore_index=True)
    return BehindARise(
        families=_families(data, event, site, begins, days),
        mix=tables,
        steps=_steps(data, site, begins),
        kits=_kits(data, site, begins),
    )


def _families(
    data: SnapshotData, event: str, site: str, begins: pd.Timestamp, days: pd.DataFrame
) -> pd.DataFrame:
    lines, onsets = data.tallies.lines, data.tallies.onsets
    ours = (
        (onsets["event"] == event) & onsets["at_home"] & (onsets["onset_on"] >= begins)
    ).to_numpy(dtype=bool)
    of = lines.iloc[onsets.loc[ours, "line"].to_numpy(dtype=np.int64)]
    table = pd.DataFrame(
        {
            "family_id": of["family_id"].astype("string").to_numpy(dtype=object),
            "site": of["site"].astype("string").to_numpy(dtype=object),
            "on": onsets.loc[ours, "onset_on"].to_numpy(),
        }
    )
    if site != PROGRAMME:
        table = table[(table["site"] == site).to_numpy(dtype=bool)]
    by_family = table.groupby("family_id")["on"].agg(["size", "max"])
    later = days[(days["month"] >= begins).to_numpy(dtype=bool)]
    family = lines["family_id"].astype("string").take(later["line"].to_numpy(dtype=np.int64))
    line_days = later["judged"].groupby(family.to_numpy(dtype=object)).sum()
    found = by_family.rename(columns={"size": "events", "max": "last_on"}).reset_index()
    found["line_days"] = line_days.reindex(found["family_id"]).fillna(0).to_numpy(dtype=np.int64)
    return found.sort_values(
        ["events", "last_on", "family_id"], ascending=[False, False, True], ignore_index=True
    )


def _sites_of(data: SnapshotData, log: pd.DataFrame) -> pd.Series[str]:
    """Site at which the line of each entry was on its day; missing: the line is not known."""
    held = tally_lines(data.counted_timeline)[["line_id", "held_from", "site"]]
    held = held.assign(held_from=held["held_from"].fillna(pd.Timestamp.min).astype("datetime64[s]"))
    entries = log[["line_id", "done_on"]].reset_index(drop=True).reset_index(names="nth")
    found = pd.merge_asof(
        entries.astype({"done_on": "datetime64[s]"}).sort_values("done_on"),
        held.sort_values("held_from"),
        left_on="done_on",
        right_on="held_from",
        by="line_id",
    )
    return found.sort_values("nth")["site"].astype("string").set_axis(log.index)


def _kits(data: SnapshotData, site: str, begins: pd.Timestamp) -> pd.DataFrame:
    """Counts of kits by the families of a site, and those below the policy's number."""
    log = data.records.home_log
    log = log[(log["kits_left"].notna() & (log["done_on"] <= pd.Timestamp(data.as_of))).to_numpy()]
    of = _sites_of(data, log)
    counted = log[(of.notna() if site == PROGRAMME else of == site).to_numpy(bool, na_value=False)]
    low = (counted["kits_left"] < data.policy.on(data.as_of).settings.kits_low).to_numpy(dtype=bool)
    since = (counted["done_on"] >= begins).to_numpy(dtype=bool)
    sums = [(int(part.sum()), int((part & low).sum())) for part in (~since, since)]
    return pd.DataFrame(sums, index=["before", "since"], columns=["counts", "low"])


def _steps(data: SnapshotData, site: str, begins: pd.Timestamp) -> pd.DataFrame:
    """Steps missed by the site's families since, against all other families since."""
    names = ["step", "seen", "missed", "share", "elsewhere_share"]
    if site == PROGRAMME:
        return pd.DataFrame(columns=names)
    shown = practice(data.timeline, data.records, data.policy)
    shown = shown[(shown["done_on"] >= begins).to_numpy(dtype=bool)]
    shown = shown[shown["step"].isin(list(data.policy.on(data.as_of).steps)).to_numpy(dtype=bool)]
    log = data.records.home_log
    log = log[log["row"].isin(shown["row"]).to_numpy(dtype=bool)]
    of_row = _sites_of(data, log).set_axis(log["row"].to_numpy())
    own = (shown["row"].map(of_row) == site).to_numpy(bool, na_value=False)
    both = [
        shown[part].groupby("step", observed=True)["missed"].agg(["size", "sum"])
        for part in (own, ~own)
    ]
    found = both[0].rename(columns={"size": "seen", "sum": "missed"})
    found["share"] = found["missed"] / found["seen"]
    found["elsewhere_share"] = both[1]["sum"] / both[1]["size"]
    found = found[(found["seen"] >= FEWEST_SEEN).to_numpy(dtype=bool)].reset_index()
    more = found["share"] - found["elsewhere_share"].fillna(0)
    order = more.sort_values(ascending=False, kind="stable").index
    return (
        found.loc[order, names]
        .astype({"step": "string", "seen": "int64", "missed": "int64"})
        .reset_index(drop=True)
    )
