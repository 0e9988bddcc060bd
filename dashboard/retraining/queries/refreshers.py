"""How does a refresher that was held become a row like any other, and how is it undone?

It goes the way of all rows: a file received now, named after who marked it. Undoing it is a row
as well, which voids the first one.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from analysis.ingest import LogFile, Profile
from analysis.ingest.trial import first_refusal
from analysis.policy import Policy
from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.unfinished import temporary_folder
from analysis.vocabulary import SignOffKind
from dashboard.addresses.reading import iso_day
from dashboard.layout.words import day_year
from dashboard.retraining.views import MarkedRefresher
from dashboard.session.forms import Form, FormError
from dashboard.session.frames import cells, of
from dashboard.session.ingesting import take_in

TABLE = "sign_offs"
MARKED_BY = "refresher marked by "
SOURCE = Profile(name="page of retraining")
MOST_CHARACTERS = 64
KEY = ("caregiver_id", "skill", "signed_on")


@dataclass(frozen=True)
class RefresherForm(Form):
    """A refresher as typed in."""

    family_id: object
    caregiver_id: object
    skill: object
    signed_on: object
    outcome: object


def known_caregiver(found: Snapshot, family_id: str, caregiver_id: object) -> str:
    """The code, if it is that of a caregiver of the family.

    Raises
    ------
    FormError
        It is not.
    """
    own = of(found.records.caregivers, "family_id", family_id)["caregiver_id"]
    if not isinstance(caregiver_id, str) or not bool((own == caregiver_id).any()):
        raise FormError("Choose the caregiver who was trained.")
    return caregiver_id


def row_of(found: Snapshot, caregiver: str, form: RefresherForm) -> dict[str, str]:
    """The row to be stored.

    Raises
    ------
    FormError
        The day or the outcome is missing, or the day is in the future.
    """
    if not form.outcome:
        raise FormError("Choose how it went.", "outcome")
    if not form.signed_on:
        raise FormError("Fill in the day it was held on.", "signed_on")
    row = {
        "caregiver_id": caregiver,
        "skill": _text(form.skill),
        "signed_on": _text(form.signed_on),
        "outcome": _text(form.outcome),
        "kind": str(SignOffKind.REFRESHER),
    }
    if row["signed_on"] > found.as_of.isoformat() and row["signed_on"][:1].isdigit():
        raise FormError(f"Choose a day up to today, {day_year(found.as_of)}.", "signed_on")
    return row


def day_words(text: str) -> str:
    """A day as people write it; another text as it is."""
    on = iso_day(text)
    return text if on is None else day_year(on)


def must_be_new(found: Snapshot, row: Mapping[str, str]) -> None:
    """Go on only where no demonstration of the skill on the day is stored.

    Raises
    ------
    FormError
        There is one: it would be overwritten.
    """
    caregiver = row["caregiver_id"]
    stored = of(found.records.sign_offs, "caregiver_id", caregiver)
    same_day = stored["signed_on"].dt.strftime("%Y-%m-%d") == row["signed_on"]
    same = same_day & (stored["skill"].astype("string") == row["skill"])
    if bool(same.fillna(value=False).any()):
        raise FormError(
            f"A demonstration of this skill by {caregiver} on {day_words(row['signed_on'])} is stored already. "
            "Choose another day, or undo the stored one.",
            "signed_on",
        )


def _text(given: object) -> str:
    return str(given or "").strip()[:MOST_CHARACTERS]


def store_rows(
    store: Store,
    store_url: str,
    policy: Policy,
    rows: Sequence[Mapping[str, str]],
    at: datetime,
    who: str,
) -> None:
    """Import rows of the same columns as received now, all of them or none.

    Raises
    ------
    FormError
        A row is refused, and why; or another person is writing to the store.
    """
    with temporary_folder() as folder:
        path = folder / "row.csv"
        with path.open("x", encoding="utf-8", newline="") as stream:
            sheet = csv.writer(stream)
            # The moment makes every such file different, so that none is skipped as known.
            sheet.writerow([*rows[0], "received_at"])
            sheet.writerows([*row.values(), at.isoformat()] for row in rows)
        log = LogFile(path, f"{MARKED_BY}{who}.csv")
        refused = first_refusal(store, log, policy, TABLE, at)
        if refused is not None:
            raise FormError(f"The refresher was not saved. {refused}")
        summary = take_in(store_url, [log], policy, SOURCE, at, who, TABLE)
    if summary.faults:
        raise FormError(f"The refresher was not saved. {summary.faults[0]}")


def marked_here(found: Snapshot, store: Store, family_id: str) -> tuple[MarkedRefresher, ...]:
    """Refreshers of a family's caregivers that were marked on the page, newest first."""
    people = of(found.records.caregivers, "family_id", family_id)["caregiver_id"]
    shown = found.records.sign_offs
    own = shown["caregiver_id"].isin(people) & (shown["kind"] == SignOffKind.REFRESHER)
    mine = shown[own.fillna(value=False).to_numpy(dtype=bool)]
    rows = [int(row) for row in mine["row"]]
    files = {s.row: s.file or "" for s in store.source_rows(TABLE, rows)}
    mine = mine.sort_values(["signed_on", "row"], ascending=False)
    return tuple(
        MarkedRefresher(
            int(row),
            caregiver,
            str(skill),
            on.date(),
            str(outcome),
            files[int(row)].removeprefix(MARKED_BY).removesuffix(".csv"),
        )
        for row, caregiver, skill, on, outcome in cells(
            mine, "row", "caregiver_id", "skill", "signed_on", "outcome"
        )
        if files.get(int(row), "").startswith(MARKED_BY)
    )


def withdrawal(found: Snapshot, store: Store, row: object) -> tuple[str, dict[str, str]]:
    """Family of a refresher marked on the page, and the row that voids it.

    Raises
    ------
    FormError
        It is not known (any more) among this person's families, or came in another way.
    """
    shown = found.records.sign_offs
    mine = shown[(shown["row"] == row).to_numpy(dtype=bool)] if isinstance(row, int) else None
    if mine is None or not len(mine):
        raise FormError("This refresher is no longer stored. Reload the page.")
    caregiver, skill, on = cells(mine, *KEY)[0]
    family = _family_of(found, str(caregiver))
    if not any(m.row == row for m in marked_here(found, store, family)):
        raise FormError(
            "This refresher was imported from a file: correct it there and upload the file again."
        )
    key = {"caregiver_id": str(caregiver), "skill": str(skill), "signed_on": f"{on:%Y-%m-%d}"}
    return family, {**key, "void": "yes"}


def _family_of(found: Snapshot, caregiver: str) -> str:
    people: pd.DataFrame = of(found.records.caregivers, "caregiver_id", caregiver)
    if not len(people):
        raise FormError("This caregiver is no longer known. Reload the page.")
    return str(people["family_id"].iloc[0])
