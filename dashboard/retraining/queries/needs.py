"""Which families, caregivers and steps does the educator's page show, and what proves them?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.decisions.day import holds_code
from analysis.decisions.practice import NO_SIGN_OFF, is_current
from analysis.decisions.retraining import limit_of, not_signed_off
from analysis.reports.educator import step_words
from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.vocabulary import Skill
from analysis.words import NO_SIGN_OFF_WHY
from dashboard.addresses.retraining import NeedsChoice
from dashboard.evidence.queries import MOST_SOURCES, sources_of
from dashboard.layout.words import PER_PAGE
from dashboard.retraining.queries.refreshers import marked_here
from dashboard.retraining.queries.training import SURENESS, Training
from dashboard.retraining.views import (
    FAINT,
    SESSION_SIZES,
    TOGETHER,
    NeedOpened,
    NeedRow,
    NeedsView,
    PictureView,
    ShownSkill,
    SkillsView,
    UnsignedRow,
)
from dashboard.security.roles import Reader, Right
from dashboard.session.families import how_to_reach
from dashboard.session.frames import cells, codes, day, distinct, of
from dashboard.session.views import PageContext

LIKELY = SURENESS[:2]
LEVELS = {"likely": LIKELY, "watching": ("watch", "improved"), "all": SURENESS}
"""Which levels of certainty the list shows, by what was chosen."""
MOST_UNSIGNED = 50
MOST_FAMILIES = 15
"""Families in the picture: as many as one look can compare."""


def understood(training: Training, choice: NeedsChoice) -> NeedsChoice:
    """The choice with what is not known left at the usual."""
    needs = training.needs
    return replace(
        choice,
        show=choice.show if choice.show in LEVELS else "likely",
        step=choice.step if bool((needs["step"] == choice.step).any()) else None,
        site=choice.site if choice.site in _sites(training.found) else None,
        per_page=choice.per_page if choice.per_page in PER_PAGE else PER_PAGE[0],
        skill=choice.skill if choice.skill in list(Skill) else str(Skill.DRESSING_CHANGE),
        together=choice.together if choice.together in TOGETHER else TOGETHER[0],
        size=choice.size if choice.size in SESSION_SIZES else NeedsChoice.size,
    )


def _sites(found: Snapshot) -> tuple[str, ...]:
    lines = found.timeline.lines
    return distinct(lines.loc[lines["end_on"].isna(), "site"])


def of_site(table: pd.DataFrame, site: str | None) -> pd.DataFrame:
    """Rows whose family has a line in place at the site; None: all."""
    return table if site is None else table[holds_code(table["site"], {site})]


def needs_view(training: Training, choice: NeedsChoice) -> NeedsView:
    """The list under a choice that `understood` has read."""
    found = training.found
    at_site = of_site(training.needs, choice.site)
    same = at_site["step"] == choice.step if choice.step else np.ones(len(at_site), dtype=bool)
    chosen = at_site[np.asarray(same, dtype=bool)]
    counts = chosen["sureness"].value_counts()
    likely = chosen["sureness"].isin(LIKELY).to_numpy(dtype=bool)
    shown = chosen[chosen["sureness"].isin(LEVELS[choice.show]).to_numpy(dtype=bool)]
    pages = max(1, -(-len(shown) // choice.per_page))
    page = min(max(choice.page, 1), pages)
    start = (page - 1) * choice.per_page
    first = rows_of(found, chosen[likely].head(1))
    steps = sorted(
        ((str(s), step_name(found, str(s))) for s in at_site["step"].unique()), key=lambda p: p[1]
    )
    return NeedsView(
        choice=replace(choice, page=page),
        counts={level: int(counts.get(level, 0)) for level in SURENESS},
        steps=tuple(steps),
        sites=_sites(found),
        first=first[0] if first else None,
        rows=rows_of(found, shown.iloc[start : start + choice.per_page]),
        total=len(shown),
        pages=pages,
        self_checked=training.self_checked,
        families=training.families,
    )


def step_name(found: Snapshot, step: str) -> str:
    """A step as the policy calls it."""
    return step_words(step, found.edition)


def rows_of(found: Snapshot, needs: pd.DataFrame) -> tuple[NeedRow, ...]:
    """Rows of the list in the frame's order."""
    names = (
        *("family_id", "caregiver_id", "step", "seen", "missed", "shrunk_share", "prob_above"),
        *("sureness", "site", "refreshed_on", "seen_before", "missed_before"),
        *("state", "missed_in_row"),
    )
    settings = found.edition.settings
    return tuple(
        NeedRow(
            family_id=family,
            caregiver_id=caregiver,
            step=step,
            step_name=step_name(found, step),
            seen=int(seen),
            missed=int(missed),
            share=float(share),
            prob=float(prob),
            limit=limit_of(step, settings),
            sureness=sureness,
            sites=codes(site),
            refreshed_on=day(refreshed),
            seen_before=int(seen_before),
            missed_before=int(missed_before),
            state=str(state),
            missed_in_row=int(in_row),
        )
        for (
            family,
            caregiver,
            step,
            seen,
            missed,
            share,
            prob,
            sureness,
            site,
            refreshed,
            seen_before,
            missed_before,
            state,
            in_row,
        ) in cells(needs, *names)
    )


def _same(frame: pd.DataFrame, column: str, value: object) -> pd.Series[bool]:
    if value is None:
        return frame[column].isna()
    return (frame[column] == value).fillna(value=False).astype(bool)


def place_of(training: Training, family_id: str, caregiver_id: object, step: object) -> int | None:
    """Where a row is among the needs; the family's surest if the rest names none."""
    own = training.rows_of(family_id)
    named = (row for row, *names in own if names == [caregiver_id, step])
    return next(named, own[0][0] if own else None)


def need_opened(
    training: Training, place: int, store: Store, context: PageContext, reader: Reader
) -> NeedOpened:
    """One need with its log entries, and what else is known of the caregiver."""
    found, needs = training.found, training.needs
    opened = needs.iloc[[place]]
    row = rows_of(found, opened)[0]
    numbers = [int(n) for n in _evidence(opened)]
    newest = numbers[-MOST_SOURCES:][::-1]
    sources = sources_of([("home_log", n) for n in newest], store, found, reader)
    family = training.needs_of(row.family_id)
    _, language = how_to_reach(found, row.family_id)
    return NeedOpened(
        context=context,
        row=row,
        sources=tuple(sources[("home_log", n)] for n in newest if ("home_log", n) in sources),
        sources_left_out=len(numbers) - len(newest),
        others=rows_of(found, family.drop(index=place)),
        without_sign_off=_without_sign_off(training, row),
        relation=_relation(found, row.caregiver_id),
        skills=shown_skills(found, row.caregiver_id),
        language=language if reader.may(Right.LANGUAGE) else None,
        caregivers=distinct(
            of(found.records.caregivers, "family_id", row.family_id)["caregiver_id"]
        ),
        marked=marked_here(found, store, row.family_id),
        may_mark=context.is_today and reader.may(Right.MARK_REFRESHERS),
    )


def _evidence(opened: pd.DataFrame) -> tuple[str, ...]:
    """Rows of the home log in which something was missed recently; maybe none."""
    evidence = opened["evidence"].iloc[0]
    return () if pd.isna(evidence) else codes(str(evidence))


def _without_sign_off(training: Training, row: NeedRow) -> int:
    facts = training.facts
    mine = (
        _same(facts, "family_id", row.family_id)
        & _same(facts, "caregiver_id", row.caregiver_id)
        & _same(facts, "step", NO_SIGN_OFF)
    )
    return int(facts.loc[mine.to_numpy(dtype=bool), "missed"].sum())


def _relation(found: Snapshot, caregiver_id: str | None) -> str | None:
    if caregiver_id is None:
        return None
    relation = of(found.records.caregivers, "caregiver_id", caregiver_id)["relation"].dropna()
    return str(relation.iloc[0]) if len(relation) else None


def shown_skills(found: Snapshot, caregiver_id: str | None) -> tuple[ShownSkill, ...]:
    """The newest demonstration of each skill by a caregiver, up to the day."""
    if caregiver_id is None:
        return ()
    shown = of(found.records.sign_offs, "caregiver_id", caregiver_id)
    shown = shown[(shown["signed_on"] <= pd.Timestamp(found.as_of)).to_numpy(dtype=bool)]
    newest = shown.sort_values(["signed_on", "row"]).groupby("skill", observed=True).tail(1)
    now = pd.Series(pd.Timestamp(found.as_of), index=newest.index)
    current = is_current(newest, now, found.edition.settings)
    return tuple(
        ShownSkill(str(skill), on.date(), str(outcome), kind, bool(is_now))
        for (skill, on, outcome, kind), is_now in zip(
            cells(newest, "skill", "signed_on", "outcome", "kind"), current, strict=True
        )
    )


def skills_view(training: Training, choice: NeedsChoice) -> SkillsView:
    """Who lately did what a skill is for without a current sign-off."""
    found = training.found
    stored = set(found.records.sign_offs["skill"].dropna().unique())
    known = (found.timeline, found.records, found.policy)
    lacking = {s: not_signed_off(*known, s) for s in Skill if s in stored}
    at_site = {s: of_site(table, choice.site) for s, table in lacking.items()}
    rows = at_site.get(Skill(choice.skill))
    shown = rows.head(MOST_UNSIGNED) if rows is not None else None
    names = ("family_id", "caregiver_id", "site", "changes", "last_change_on", "why", "signed_on")
    settings = found.edition.settings
    return SkillsView(
        skill=choice.skill,
        counts=tuple((str(s), len(at_site[s]) if s in at_site else None) for s in Skill),
        rows=tuple(
            UnsignedRow(
                family,
                caregiver,
                codes(site),
                int(times),
                last.date(),
                NO_SIGN_OFF_WHY[str(why)],
                day(signed),
            )
            for family, caregiver, site, times, last, why, signed in (
                cells(shown, *names) if shown is not None else []
            )
        ),
        more=0 if rows is None or shown is None else len(rows) - len(shown),
        recent_days=settings.sign_off_recent_days,
        valid_months=settings.sign_off_valid_months,
    )


def picture_view(training: Training, choice: NeedsChoice) -> PictureView:
    """Steps by families: those whose need is surest, each by its surest caregiver."""
    needs = of_site(training.needs, choice.site)
    likely = needs[needs["sureness"].isin(LIKELY).to_numpy(dtype=bool)]
    order = likely["family_id"].drop_duplicates()
    families = tuple(order.head(MOST_FAMILIES))
    own = needs[needs["family_id"].isin(families).to_numpy(dtype=bool)]
    # Before: one row a caregiver and step, the surest first; after: one row a family and step.
    own = own.drop_duplicates(["family_id", "step"])
    most = own.groupby("step", observed=True)["prob_above"].agg(["max", "sum"])
    most = most.sort_values(["sum"], ascending=False)
    kept = [str(s) for s in most.index[(most["max"] >= FAINT).to_numpy(dtype=bool)]]
    named = {s: step_name(found=training.found, step=str(s)) for s in most.index}
    facts = own[own["step"].isin(kept).to_numpy(dtype=bool)]
    return PictureView(
        cells=pd.DataFrame(
            {
                "family_id": facts["family_id"].astype("string"),
                "step_name": facts["step"].map(named).astype("string"),
                "prob": facts["prob_above"],
                "missed": facts["missed"],
                "seen": facts["seen"],
            }
        ).reset_index(drop=True),
        families=families,
        steps=tuple(named[s] for s in kept),
        families_left_out=len(order) - len(families),
        steps_left_out=tuple(str(named[s]) for s in most.index if s not in kept),
    )
