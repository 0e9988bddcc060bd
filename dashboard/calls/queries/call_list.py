"""Which rows, counts and reasons of the call list does a page show?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.decisions.asked import (
    Asked,
    calls_done,
    families_asked,
    family_languages,
    printed,
    printed_done,
    speaks,
)
from analysis.decisions.attempts import with_days_back
from analysis.decisions.daily_capacity import daily_capacity
from analysis.decisions.sentences import beyond_sentence, capacity_sentence
from analysis.snapshot import Snapshot
from analysis.tables.codes import is_among, places_of
from analysis.tables.printed import as_csv
from analysis.vocabulary import RESTING, CallOutcome
from dashboard.addresses.calls import Choice
from dashboard.call_state.queries import rows_of, silent_families
from dashboard.call_state.views import CallRow
from dashboard.calls.queries.ahead import days_ahead
from dashboard.calls.views import CallDone, CallsView, CapacityView
from dashboard.family_lists.queries import asked_for
from dashboard.layout.words import AHEAD, BANDS_SHOWN, BANDS_TO_CALL, DONE, PER_PAGE
from dashboard.security.roles import Right
from dashboard.session.frames import cells, distinct, is_one
from dashboard.session.views import PageContext

BELOW = 10
"""Families that wait and calls done that are shown below the families to call; all on request."""


def calls_view(
    found: Snapshot,
    context: PageContext,
    choice: Choice,
    due: pd.DataFrame,
    kits: pd.DataFrame | None,
) -> CallsView:
    """The call list under a choice; `due` and `kits` as for `days_ahead`, kits only for it."""
    asked = asked_for(replace(choice, band=None))
    chosen = families_asked(found.calls, found.records, asked)
    counts = chosen["band"].value_counts()
    shown = _in_bands(chosen, [choice.band] if choice.band in BANDS_SHOWN else BANDS_TO_CALL)
    done = calls_done(found.calls, found.timeline, found.records, asked)
    if choice.band in (DONE, AHEAD):
        shown = shown.head(0)
    per_page = choice.per_page if choice.per_page in PER_PAGE else PER_PAGE[0]
    pages = max(1, -(-len(shown) // per_page))
    page = min(max(choice.page, 1), pages)
    everything = choice.band not in (*BANDS_SHOWN, DONE, AHEAD)
    resting = pd.concat([_in_bands(chosen, [band]).head(BELOW) for band in RESTING])
    below = BELOW if everything else 0
    newest = done.head(len(done) if choice.band == DONE else below)
    first = rows_of(found, _in_bands(chosen, BANDS_TO_CALL).head(1))
    home = found.timeline.lines[found.timeline.lines["at_home"]]
    mine = home[is_one(home["site"], choice.site) & is_one(home["nurse"], choice.of_nurse)]
    families = mine["family_id"].drop_duplicates()
    if choice.language is not None:
        families = families[speaks(families, found.records, choice.language)]
        mine = mine[mine["family_id"].isin(families)]
    return CallsView(
        context=context,
        choice=replace(choice, page=page, per_page=per_page),
        order=found.calls.order,
        counts={band: int(counts.get(band, 0)) for band in BANDS_SHOWN},
        families_at_home=len(families),
        families_silent=len(silent_families(found, families)),
        silent_after_days=found.edition.settings.silent_after_days,
        sites=distinct(home["site"]),
        nurses=distinct(pd.concat([home["nurse"], found.calls.families["assigned_to"]])),
        languages=languages_of(found) if context.reader.may(Right.LANGUAGE) else (),
        first=first[0] if first else None,
        rows=rows_of(found, shown.iloc[(page - 1) * per_page : page * per_page]),
        total=len(shown),
        pages=pages,
        resting=rows_of(found, resting.head(len(resting) if everything else 0)),
        done=_done(found, newest),
        done_count=len(done),
        capacity=None
        if choice.language
        else _capacity(found, asked, _in_bands(chosen, BANDS_TO_CALL)),
        n_ahead=int(due["line"].isin(mine["line"]).sum()),
        ahead=() if kits is None else days_ahead(found, due, kits, mine, chosen),
    )


def _capacity(found: Snapshot, asked: Asked, to_call: pd.DataFrame) -> CapacityView:
    """How families to call, of a site and nurse in calling order, fit into the day."""
    capacity_left = daily_capacity(
        found.calls, found.timeline, found.records, found.edition.settings, asked
    )
    ends_before = (
        str(to_call["family_id"].iloc[capacity_left.fits]) if capacity_left.beyond else None
    )
    return CapacityView(
        capacity_left.possible,
        capacity_left.left,
        capacity_sentence(capacity_left),
        ends_before,
        beyond_sentence(capacity_left),
    )


def calls_table(found: Snapshot, choice: Choice) -> tuple[str, str]:
    """Name and text of the chosen part as CSV: byte for byte what ``linedays calls`` writes."""
    asked = asked_for(choice)
    if choice.band == DONE:
        done = calls_done(found.calls, found.timeline, found.records, asked)
        return f"calls-done-{found.as_of}.csv", as_csv(printed_done(done))
    chosen = families_asked(found.calls, found.records, asked)
    return f"calls-{found.as_of}.csv", as_csv(printed(chosen))


def languages_of(found: Snapshot) -> tuple[str, ...]:
    """Languages in which families with a line at home are called."""
    home = found.timeline.lines[found.timeline.lines["at_home"]]
    spoken = family_languages(found.records)
    return distinct(spoken[is_among(spoken.index.to_series(), home["family_id"])])


def _done(found: Snapshot, done: pd.DataFrame) -> tuple[CallDone, ...]:
    at = done["called_at"].dt.tz_localize("UTC").dt.tz_convert(found.policy.zone)
    done = done.assign(called_on=pd.Timestamp(found.as_of))
    done = with_days_back(done, found.edition.settings.recheck_days)
    names = (
        "row",
        "family_id",
        "called_at",
        "called_by",
        "outcome",
        "agreed",
        "recheck_on",
        "band",
    )
    return tuple(
        CallDone(
            row=int(row),
            family_id=family,
            made_at=made.to_pydatetime(),
            made_by=by,
            reached=outcome == CallOutcome.REACHED,
            agreed=agreed,
            recheck_on=recheck.date(),
            band=str(band),
        )
        for row, family, made, by, outcome, agreed, recheck, band in cells(
            done.assign(called_at=at), *names
        )
    )


def _in_bands(families: pd.DataFrame, bands: Sequence[str | None]) -> pd.DataFrame:
    return families[families["band"].isin(list(bands)).to_numpy(dtype=bool)]


def next_family(found: Snapshot, row: CallRow, choice: Choice) -> str | None:
    """The family to call after this one: the next in order, else the first of all."""
    listed = families_asked(found.calls, found.records, asked_for(replace(choice, band=None)))
    rank = listed["rank"].to_numpy(dtype=np.float64, na_value=np.nan)
    rest = ~np.isnan(rank)
    rest[places_of(listed["family_id"], row.family_id)] = False
    after = rest & (rank > (row.rank or 0))
    best = np.flatnonzero(after if after.any() else rest)
    return str(listed["family_id"].iloc[best[0]]) if len(best) else None
