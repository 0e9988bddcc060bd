"""Which families are on a list under a choice, in which order?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.asked import Asked, families_asked
from analysis.decisions.every_family import every_family
from dashboard.addresses.calls import Choice, read_choice
from dashboard.addresses.families import FAMILIES, FamiliesChoice, read_families
from dashboard.layout.words import BANDS_SHOWN, BANDS_TO_CALL
from dashboard.security.roles import Page, Reader, Right
from dashboard.session.frames import is_one, natural
from dashboard.session.session import Session


@dataclass(frozen=True)
class Neighbours:
    """A family's place on the list that it was opened from."""

    before: str | None
    after: str | None
    """Of a family that is not on the list any more: the first one on it."""
    place: int | None
    """Counted from 1; None: it is not on the list any more."""
    of: int


def neighbours(session: Session, address: str, family_id: str) -> Neighbours | None:
    """The families before and after one on a list, by the list's address with its choice.

    None where the person may not open that list, or it is empty.
    """
    path, _, query = address.partition("?")
    page = Page.FAMILIES if path == FAMILIES else Page.CALLS
    if not session.may_open(page):
        return None
    if page is Page.FAMILIES:
        listed = list(families_chosen(session, read_families(query))["family_id"])
    else:
        listed = _to_call(session, read_choice(query))
    if not listed:
        return None
    if family_id not in listed:
        return Neighbours(None, listed[0], None, len(listed))
    at = listed.index(family_id)
    return Neighbours(
        before=listed[at - 1] if at else None,
        after=listed[at + 1] if at + 1 < len(listed) else None,
        place=at + 1,
        of=len(listed),
    )


def _to_call(session: Session, choice: Choice) -> list[str]:
    """Families of the call list under a choice, in calling order."""
    found = session.snapshot()
    chosen = families_asked(found.calls, found.records, asked_for(allowed(session.reader, choice)))
    bands = [choice.band] if choice.band in BANDS_SHOWN else list(BANDS_TO_CALL)
    shown = chosen["band"].isin(bands).to_numpy(dtype=bool)
    return [str(family) for family in chosen["family_id"][shown]]


def allowed(reader: Reader, choice: Choice) -> Choice:
    """A choice without what this person may not know; of nurses first their own caseload."""
    if choice.nurse is None:
        choice = replace(choice, nurse=reader.caseload)
    return choice if reader.may(Right.LANGUAGE) else replace(choice, language=None)


def asked_for(choice: Choice) -> Asked:
    """What is asked for by a choice of the call list."""
    band = choice.band if choice.band in BANDS_SHOWN else None
    return Asked(band, choice.site, choice.of_nurse, choice.language)


def families_chosen(session: Session, choice: FamiliesChoice) -> pd.DataFrame:
    """Families of this person's sites that a choice names, in its order; see `every_family`."""
    asked = replace(choice, page=1)
    order = session.cached(("order of families", asked), lambda: _order(_every(session), asked))
    return _every(session).take(order).reset_index(drop=True)


def _order(families: pd.DataFrame, choice: FamiliesChoice) -> npt.NDArray[np.intp]:
    """Positions of the families that a choice names, in its order."""
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
    chosen = families.assign(position=np.arange(len(families)))[wanted.to_numpy(dtype=bool)]
    keys: dict[str, Callable[[], pd.Series[Any]]] = {
        "place": lambda: chosen["place"].cat.codes,
        "overdue": lambda: -chosen["days_overdue"],
        "heard": lambda: chosen["last_heard_on"],
        "nurse": lambda: chosen["nurse"].fillna("\uffff").map(natural),
        "site": lambda: chosen["site"].map(natural),
    }
    by_code = chosen.assign(code=chosen["family_id"].map(natural)).sort_values("code")
    if choice.sort in keys:
        by_code = by_code.assign(key=keys[choice.sort]())
        by_code = by_code.sort_values("key", kind="stable", na_position="first")
    return by_code["position"].to_numpy(dtype=np.intp)


def with_code(session: Session, code: str) -> list[str]:
    """Families of which this is the whole code of family, child or line, in any case."""
    families = _every(session)
    text = (" " + families["codes"] + " ").str.casefold()
    is_it = text.str.contains(f" {code.casefold()} ", regex=False).to_numpy(dtype=bool)
    return [str(family) for family in families["family_id"][is_it]]


def _every(session: Session) -> pd.DataFrame:
    found = session.snapshot()
    return session.cached("every family", lambda: every_family(found.calls, found.timeline))
