"""Which families of a call list match a choice, and which calls of the day are done?

Command line and dashboard use the same functions, so the same choice gives the same families.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.attempts import reached
from analysis.decisions.calls import CallList
from analysis.decisions.day import holds_code
from analysis.tables.calls import CALLS_DONE, PRINTED
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Arrangement, Band


@dataclass(frozen=True)
class Asked:
    """Which families are asked for; None asks for all."""

    band: str | None = None
    site: str | None = None
    nurse: str | None = None
    language: str | None = None


def families_asked(calls: CallList, records: Records, asked: Asked) -> pd.DataFrame:
    """Choose families of a call list.

    Parameters
    ----------
    calls : CallList
        Of any day.
    records : Records
        What it was made from.
    asked : Asked
        A family with lines of several sites or nurses is chosen by each of them; one that is
        assigned to a person only by that person.

    Returns
    -------
    DataFrame
        Columns of `CALL_FAMILIES`; ranks are those of the whole list.
    """
    families = calls.families
    wanted = np.ones(len(families), dtype=np.bool_)
    if asked.band is not None:
        wanted &= (families["band"] == asked.band).to_numpy(dtype=bool)
    if asked.site is not None:
        wanted &= holds_code(families["site"], {asked.site})
    if asked.nurse is not None:
        wanted &= holds_code(families["assigned_to"].fillna(families["nurse"]), {asked.nurse})
    if asked.language is not None:
        wanted &= speaks(families["family_id"], records, asked.language)
    return families if wanted.all() else families[wanted]


def family_languages(records: Records) -> pd.Series[str]:
    """Language to call each family in, by family code: that of the newest row with a language."""
    known = records.lines[["family_id", "language", "received_at", "row"]]
    known = known.dropna(subset="language").sort_values(["received_at", "row"])
    return known.drop_duplicates("family_id", keep="last").set_index("family_id")["language"]


def speaks(family_ids: pd.Series[str], records: Records, language: str) -> npt.NDArray[np.bool_]:
    """Whether each family is called in a language."""
    by_family = family_languages(records)
    return family_ids.isin(by_family.index[by_family == language]).to_numpy(dtype=bool)


def printed(families: pd.DataFrame) -> pd.DataFrame:
    """The columns of a call list that are printed or exported as a table."""
    return families[list(PRINTED)]


def printed_done(done: pd.DataFrame) -> pd.DataFrame:
    """Calls done as printed or exported: the moment as text, without typed notes."""
    at = done["called_at"].dt.strftime("%Y-%m-%dT%H:%M:%SZ").astype("object")
    return done.assign(called_at=at).drop(columns=["row", "agreed", "note"])


def calls_done(
    calls: CallList, timeline: Timeline, records: Records, asked: Asked | None = None
) -> pd.DataFrame:
    """List the calls recorded on the day of a call list.

    Parameters
    ----------
    calls : CallList
        Gives the families' present bands.
    timeline : Timeline
        What it was made from.
    records : Records
        With the calls known; undone ones are left out.
    asked : Asked, optional
        Families asked for: by the sites and nurses of their lines at home, and a call that was
        assigned to a person only by that person. Its band is ignored.

    Returns
    -------
    DataFrame
        Columns of `CALLS_DONE`, newest first.
    """
    asked = asked or Asked()
    made = records.calls[(records.calls["called_on"] == pd.Timestamp(calls.as_of)).to_numpy()]
    wanted = np.ones(len(made), dtype=np.bool_)
    home = timeline.lines[timeline.lines["at_home"]]
    for column, value in (("site", asked.site), ("nurse", asked.nurse)):
        if value is not None:
            theirs = home.loc[(home[column] == value).to_numpy(dtype=bool, na_value=False)]
            own = made["family_id"].isin(theirs["family_id"]).to_numpy(dtype=bool)
            if column == "nurse":
                given = assigned_before(made, records)
                own = np.where(given.isna(), own, given.eq(value).fillna(value=False))
            wanted &= own.astype(np.bool_)
    if asked.language is not None:
        wanted &= speaks(made["family_id"], records, asked.language)
    made = made[wanted].sort_values(["called_at", "row"], ascending=False, ignore_index=True)
    place = pd.Index(calls.families["family_id"]).get_indexer(pd.Index(made["family_id"]))
    bands = np.append(calls.families["band"].astype("object").to_numpy(), str(Band.NO_CALL))
    band = pd.Categorical(bands[place], categories=[str(b) for b in Band])
    return CALLS_DONE.check(made.assign(band=band))


def arrangements_in_force(calls: CallList, records: Records) -> pd.DataFrame:
    """Arrangements in force on a call list's day, newest first.

    Parameters
    ----------
    calls : CallList
        Gives the assignments still in force.
    records : Records
        What it was made from.

    Returns
    -------
    DataFrame
        Columns of `KNOWN["arrangements"]`: of each family its newest assignment and its newest
        postponement, where its day has not come and no call has reached it since. One that a red
        flag or a later finding overrules is included, though its family is listed.
    """
    made = records.arrangements
    made = made[(made["made_on"] <= pd.Timestamp(calls.as_of)).to_numpy(dtype=bool)]
    made = made.sort_values(["made_at", "row"], ascending=False)
    made = made.drop_duplicates(["family_id", "kind"])
    given = calls.families.loc[calls.families["assigned_to"].notna(), "family_id"]
    assigned = (made["kind"] == Arrangement.ASSIGNED) & made["family_id"].isin(given)
    spoken = records.calls[reached(records.calls)]
    called = made["family_id"].map(spoken.groupby("family_id")["called_at"].max())
    postponed = (made["until_on"] > pd.Timestamp(calls.as_of)) & ~(called >= made["made_at"])
    holds = assigned.to_numpy(dtype=bool) | postponed.to_numpy(dtype=bool)
    return made[holds].reset_index(drop=True)


def assigned_before(made: pd.DataFrame, records: Records) -> pd.Series[str]:
    """Who each call was assigned to when it was made; missing where unassigned.

    An assignment holds until a call reaches the family.
    """
    given = records.arrangements
    given = given[(given["kind"] == Arrangement.ASSIGNED).to_numpy(dtype=bool)]
    spoken = records.calls[reached(records.calls)].rename(columns={"called_at": "made_at"})
    made = made.rename(columns={"called_at": "made_at"})
    families = pd.Index(made["family_id"].unique())
    # One row a call, an assignment or a call that reached: its moment and the family's place.
    calls, given, spoken = (
        frame.assign(family=families.get_indexer(pd.Index(frame["family_id"])), at=frame["made_at"])
        .query("family >= 0")
        .sort_values("made_at")
        for frame in (made, given, spoken)
    )
    assigned = pd.merge_asof(
        calls[["row", "family", "made_at"]],
        given[["family", "made_at", "at", "assigned_to"]],
        on="made_at",
        by="family",
    )
    before = pd.merge_asof(
        calls[["row", "family", "made_at"]],
        spoken[["family", "made_at", "at"]],
        on="made_at",
        by="family",
        allow_exact_matches=False,
    )
    over = (before["at"] >= assigned["at"]).to_numpy(dtype=bool)
    by_row = pd.Series(assigned["assigned_to"].mask(over).array, index=assigned["row"])
    return by_row.reindex(made["row"]).set_axis(made.index)
