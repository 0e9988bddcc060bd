"""What does a snapshot show of some lines or sites only?"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

import pandas as pd

from analysis.days import day_number
from analysis.snapshot.snapshot import Snapshot
from analysis.tables import Records
from analysis.tables.codes import is_among
from analysis.tallies import of_lines as tallies_of_lines
from analysis.timeline.versions import times_of


def of_lines(found: Snapshot, wanted: Mapping[str, str]) -> Snapshot:
    """The snapshot with the counts of some lines only, such as ``{"site": "north"}``.

    How complete a period is follows from all reports: a few lines show it badly.
    """
    narrowed = replace(found)
    vars(narrowed)["timeline"] = found.timeline
    vars(narrowed)["counted_timeline"] = found.counted_timeline
    vars(narrowed)["tallies"] = tallies_of_lines(found.tallies, wanted)
    return narrowed


def of_sites(found: Snapshot, sites: Collection[str]) -> Snapshot:
    """The snapshot as people of some sites see it, as if nothing else were stored.

    Lists, families and their rows are those of families with a line that these sites follow on
    the as-of day, with all that was logged before. Days and events count while a line was at one
    of these sites: a family that moved counts at the old site up to the day before and at the
    new one from then on, and only the new site's people open its page.

    *Source:* project definition, definitions §2.
    """
    records = found.records
    day = day_number(found.as_of)
    times = times_of(records, records.lines["line_id"], day, found.policy.zone)
    here = times[times["site"].isin(list(sites)).to_numpy(bool, na_value=False)]
    now = times.drop_duplicates("line_id", keep="last")
    present = now[now["site"].isin(list(sites)).to_numpy(bool, na_value=False)]
    own = _those(now, "family_id", present["family_id"])
    ever = _those(times, "family_id", here["family_id"])
    # A day on which a child has several lines counts for one of them, so all of them are needed.
    with_children = _those(records.lines, "line_id", ever["line_id"])["child_id"]
    siblings = _those(records.lines, "child_id", with_children)
    ever = _those(times, "line_id", siblings["line_id"])
    moved_away = not ever["line_id"].isin(own["line_id"]).all()
    return replace(
        found,
        records=_records_of(records, own),
        sites=frozenset(sites),
        with_moved=_records_of(records, ever) if moved_away else None,
    )


def _records_of(records: Records, times: pd.DataFrame) -> Records:
    """The records of lines in these times, and of their families, children and caregivers."""
    families, line_ids = times["family_id"].unique(), times["line_id"].unique()
    lines = _those(records.lines, "line_id", line_ids)
    caregivers = _those(records.caregivers, "family_id", families)
    children = lines["child_id"].unique()
    log = records.home_log
    of_line = is_among(log["line_id"], line_ids)
    known = is_among(log["line_id"], records.lines["line_id"])
    logged = of_line | (~known & is_among(log["family_id"], families))
    return replace(
        records,
        lines=lines,
        stays=_those(records.stays, "child_id", children),
        caregivers=caregivers,
        sign_offs=_those(records.sign_offs, "caregiver_id", caregivers["caregiver_id"]),
        home_log=log[logged].reset_index(drop=True),
        outcomes=_those(records.outcomes, "child_id", children),
        calls=_those(records.calls, "family_id", families),
        arrangements=_those(records.arrangements, "family_id", families),
        earlier_lines=_those(records.earlier_lines, "line_id", line_ids),
    )


def _those(frame: pd.DataFrame, column: str, values: Iterable[str]) -> pd.DataFrame:
    return frame[is_among(frame[column], values)].reset_index(drop=True)
