"""Which families are on a list under a choice, in which order?"""

from __future__ import annotations

import pandas as pd

from analysis.decisions.every_family import every_family
from dashboard.addresses.families import FamiliesChoice
from dashboard.session.frames import is_one, natural
from dashboard.session.session import Session


def families_chosen(session: Session, choice: FamiliesChoice) -> pd.DataFrame:
    """Families of this person's sites that a choice names, in its order; see `every_family`."""
    families = _every(session)
    wanted = is_one(families["place"].astype("string"), choice.place)
    for column, value in (("site", choice.site), ("nurse", choice.nurse)):
        if value is not None:
            wanted &= (";" + families[column].fillna("") + ";").str.contains(
                f";{value};", regex=False
            )
    text = (
        families["codes"] + " " + families["nurse"].fillna("") + " " + families["site"].fillna("")
    )
    text = text.str.casefold()
    for term in choice.q.casefold().split():
        wanted &= text.str.contains(term, regex=False)
    chosen = families[wanted.to_numpy(dtype=bool)]
    keys = {
        "family": None,
        "place": chosen["place"].cat.codes,
        "overdue": -chosen["days_overdue"],
        "heard": chosen["last_heard_on"],
        "nurse": chosen["nurse"].fillna("\uffff").map(natural),
        "site": chosen["site"].map(natural),
    }
    key = keys[choice.sort]
    by_code = chosen.assign(code=chosen["family_id"].map(natural)).sort_values("code")
    if key is not None:
        by_code = by_code.assign(key=key).sort_values("key", kind="stable", na_position="first")
    return by_code[families.columns].reset_index(drop=True)


def with_code(session: Session, code: str) -> list[str]:
    """Families of which this is the whole code of family, child or line, in any case."""
    families = _every(session)
    text = (" " + families["codes"] + " ").str.casefold()
    is_it = text.str.contains(f" {code.casefold()} ", regex=False).to_numpy(dtype=bool)
    return [str(family) for family in families["family_id"][is_it]]


def _every(session: Session) -> pd.DataFrame:
    found = session.snapshot()
    return session.cached("every family", lambda: every_family(found.calls, found.timeline))
