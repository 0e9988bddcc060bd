"""Which families could share a session, because they miss the same step?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.decisions.joined_text import joined_by
from analysis.tables.retraining import SESSIONS
from analysis.timeline import Timeline
from analysis.vocabulary import NeedState

FEWEST_FAMILIES = 2
SMALLEST_GROUP = 3
"""No limit on a group is smaller, so that no half of a group is a single family."""


def group_sessions(
    needs: pd.DataFrame,
    timeline: Timeline,
    languages: pd.Series[str] | None = None,
    most: int | None = None,
) -> pd.DataFrame:
    """Plan group sessions: which step do which families of a site share?

    Parameters
    ----------
    needs : DataFrame
        Columns of `RETRAINING`. A family takes part when a caregiver needs retraining by the
        recent evidence. Missing sign-offs
        have a list of their own.
    timeline : Timeline
        Gives the site; a family with lines at two sites is named at both.
    languages : Series, optional
        Language by family code: only families of one language share a session, and those
        whose language is not known have none. Without it languages are ignored.
    most : int, optional
        Most families in a session, at least `SMALLEST_GROUP`. More are divided into groups of
        nearly equal size, the most certain needs first. Without it all come together.

    Returns
    -------
    DataFrame
        Columns of `SESSIONS`, most families first; a session has at least two families.

    Raises
    ------
    ValueError
        `most` is too small.

    *Source:* project definition, definitions §8.
    """
    if most is not None and most < SMALLEST_GROUP:
        raise ValueError(f"A session takes at least {SMALLEST_GROUP} families.")
    likely = (needs["state"] == NeedState.RETRAIN) & needs["prob_above"].notna()
    lines = timeline.lines[timeline.lines["end_on"].isna()]
    places = lines[["family_id", "site"]].drop_duplicates()
    columns = ["family_id", "caregiver_id", "step", "prob_above"]
    asked = needs.loc[likely.to_numpy(dtype=bool), columns].merge(places, on="family_id")
    asked = asked.assign(language="")
    if languages is not None:
        asked["language"] = asked["family_id"].map(languages)
        asked = asked[asked["language"].notna().to_numpy(dtype=bool)]
    asked = asked.astype({"language": "string"})
    together = ["site", "step", "language"]
    parted = _parted(asked, together, most)
    asked = asked.merge(parted, on=[*together, "family_id"])
    asked = asked.sort_values([*together, "part", "family_id", "caregiver_id"])
    keys = {name: asked[name] for name in (*together, "part")}
    families = asked.groupby([*together, "part"], observed=True)["family_id"].nunique()
    planned = families.rename("families").astype("int64").reset_index()
    for name in ("family_id", "caregiver_id"):
        codes = joined_by(keys, asked[name], ";").rename(columns={"joined": f"{name}s"})
        codes = codes.astype({"part": "int64"})
        planned = planned.merge(codes, on=[*together, "part"], how="left")
    planned = planned.sort_values(
        ["families", *together, "part"], ascending=[False, True, True, True, True]
    )
    texts = dict.fromkeys(together, "string")
    planned = planned.reset_index(drop=True).astype({**texts, "part": "int64"})
    planned["language"] = planned["language"].mask(planned["language"] == "")
    return SESSIONS.check(planned)


def _parted(asked: pd.DataFrame, together: list[str], most: int | None) -> pd.DataFrame:
    """One row a family that shares its need: the group it comes to, from 1."""
    surest = asked.groupby([*together, "family_id"], observed=True)["prob_above"].max()
    families = surest.reset_index().sort_values(
        ["prob_above", "family_id"], ascending=[False, True]
    )
    by = families.groupby(together, observed=True)["family_id"]
    nth, size = by.cumcount().to_numpy(), by.transform("size").to_numpy(dtype=np.int64)
    groups = -(-size // (size if most is None else most)) if len(size) else size
    families = families.assign(part=nth * groups // np.maximum(size, 1) + 1)
    return families.loc[size >= FEWEST_FAMILIES, [*together, "family_id", "part"]]
