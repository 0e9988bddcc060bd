"""Which families of a call list are asked for, and which calls of the day are done?

Command line and dashboard ask here, so that the same choice gives the same families.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.calls import CallList
from analysis.decisions.day import holds_code
from analysis.tables.calls import CALLS_DONE, PRINTED
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Band


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
        A family with lines of several sites or nurses is chosen by each of them.

    Returns
    -------
    DataFrame
        Columns of `CALL_FAMILIES`; ranks are those of the whole list.
    """
    families = calls.families
    wanted = np.ones(len(families), dtype=np.bool_)
    if asked.band is not None:
        wanted &= (families["band"] == asked.band).to_numpy(dtype=bool)
    for column, value in (("site", asked.site), ("nurse", asked.nurse)):
        if value is not None:
            wanted &= holds_code(families[column], {value})
    if asked.language is not None:
        wanted &= speaks(families["family_id"], records, asked.language)
    return families[wanted]


def family_languages(records: Records) -> pd.Series[str]:
    """Language to call each family in, by family code: that of the newest row that tells one."""
    told = records.lines.dropna(subset="language").sort_values(["received_at", "row"])
    return told.drop_duplicates("family_id", keep="last").set_index("family_id")["language"]


def speaks(family_ids: pd.Series[str], records: Records, language: str) -> npt.NDArray[np.bool_]:
    """Whether each family is called in a language."""
    by_family = family_languages(records)
    return family_ids.isin(by_family.index[by_family == language]).to_numpy(dtype=bool)


def printed(families: pd.DataFrame) -> pd.DataFrame:
    """The columns of a call list that are printed or taken out as a table."""
    return families[list(PRINTED)]


def printed_done(done: pd.DataFrame) -> pd.DataFrame:
    """Calls done as printed or taken out: the moment as text, and nothing that was typed in."""
    at = done["made_at"].dt.strftime("%Y-%m-%dT%H:%M:%SZ").astype("object")
    return done.assign(made_at=at).drop(columns=["row", "agreed"])


def calls_done(
    calls: CallList, timeline: Timeline, records: Records, asked: Asked | None = None
) -> pd.DataFrame:
    """List the calls recorded on the day of a call list.

    Parameters
    ----------
    calls : CallList
        Tells where the families stand now.
    timeline : Timeline
        What it was made from.
    records : Records
        With the calls known; those taken back are not among them.
    asked : Asked, optional
        Families asked for, by the sites and nurses of their lines at home; its band is passed by.

    Returns
    -------
    DataFrame
        Columns of `CALLS_DONE`, newest first.
    """
    asked = asked or Asked()
    made = records.calls[(records.calls["made_on"] == pd.Timestamp(calls.as_of)).to_numpy()]
    wanted = np.ones(len(made), dtype=np.bool_)
    home = timeline.lines[timeline.lines["at_home"]]
    for column, value in (("site", asked.site), ("nurse", asked.nurse)):
        if value is not None:
            theirs = home.loc[(home[column] == value).to_numpy(dtype=bool, na_value=False)]
            wanted &= made["family_id"].isin(theirs["family_id"]).to_numpy(dtype=bool)
    if asked.language is not None:
        wanted &= speaks(made["family_id"], records, asked.language)
    made = made[wanted].sort_values(["made_at", "row"], ascending=False, ignore_index=True)
    place = pd.Index(calls.families["family_id"]).get_indexer(pd.Index(made["family_id"]))
    told = np.append(calls.families["band"].astype("object").to_numpy(), str(Band.NO_CALL))
    band = pd.Categorical(told[place], categories=[str(b) for b in Band])
    return CALLS_DONE.check(made.assign(band=band))
