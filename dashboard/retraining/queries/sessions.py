"""Which sessions does the educator's page plan, and who is on the sheet of one?"""

from __future__ import annotations

import pandas as pd

from analysis.decisions.asked import family_languages
from analysis.decisions.sessions import group_sessions
from dashboard.addresses.retraining import NeedsChoice, SessionName
from dashboard.retraining.queries.needs import of_site, rows_of, step_name
from dashboard.retraining.queries.training import SURENESS, Training
from dashboard.retraining.views import SESSION_SIZES, SessionRow, SessionsView, SheetRow, SheetView
from dashboard.security.roles import Reader, Right
from dashboard.session.frames import cells, codes, of

MOST_SESSIONS = 30
LANGUAGE = "language"


def sessions_view(training: Training, choice: NeedsChoice, reader: Reader) -> SessionsView:
    """Sessions of the chosen site, those with most families first."""
    may = reader.may(Right.LANGUAGE)
    by_language = may and choice.together == LANGUAGE
    planned = _planned(training, by_language=by_language, size=choice.size)
    planned = planned if choice.site is None else of(planned, "site", choice.site)
    return SessionsView(
        rows=_rows(training, planned.head(MOST_SESSIONS), choice.size),
        more=max(0, len(planned) - MOST_SESSIONS),
        by_language=by_language,
        may_by_language=may,
        size=choice.size,
    )


def _planned(training: Training, *, by_language: bool, size: int) -> pd.DataFrame:
    found = training.found
    languages = family_languages(found.records) if by_language else None
    return group_sessions(training.needs, found.timeline, languages, size)


def _rows(training: Training, planned: pd.DataFrame, size: int) -> tuple[SessionRow, ...]:
    return tuple(
        SessionRow(
            SessionName(site, step, language, int(part), size),
            step_name(training.found, step),
            codes(families),
        )
        for site, step, language, part, families in cells(
            planned, "site", "step", "language", "part", "family_ids"
        )
    )


def sheet_view(training: Training, name: SessionName, reader: Reader) -> SheetView | None:
    """The sheet of a session; None when no such session is planned (any more)."""
    by_language = name.language is not None
    if name.size not in SESSION_SIZES or (by_language and not reader.may(Right.LANGUAGE)):
        return None
    planned = _planned(training, by_language=by_language, size=name.size)
    sessions = _rows(training, planned, name.size)
    session = next((s for s in sessions if s.name == name), None)
    if session is None:
        return None
    needs = training.needs
    likely = needs[needs["sureness"].isin(SURENESS[:2]).to_numpy(dtype=bool)]
    here = of_site(likely, name.site)
    theirs = here[here["family_id"].isin(session.families).to_numpy(dtype=bool)]
    asked = of(theirs, "step", name.step).sort_values(["family_id", "caregiver_id"])
    others = rows_of(training.found, theirs[(theirs["step"] != name.step).to_numpy(dtype=bool)])
    people = training.found.records.caregivers.set_index("caregiver_id")["relation"]
    return SheetView(
        session,
        tuple(
            SheetRow(
                need,
                None if need.caregiver_id is None else _relation(people, need.caregiver_id),
                tuple(
                    o.step_name
                    for o in others
                    if (o.family_id, o.caregiver_id) == (need.family_id, need.caregiver_id)
                ),
            )
            for need in rows_of(training.found, asked)
        ),
    )


def _relation(people: pd.Series[str], caregiver_id: str) -> str | None:
    relation = people.get(caregiver_id)
    return None if relation is None or pd.isna(relation) else str(relation)
