"""What does every paper rest on: day, knowledge, policy, completeness, definitions?"""

from __future__ import annotations

import pandas as pd

from analysis.definitions import DEFINITIONS, Definition
from analysis.measures import lateness, log_coverage
from analysis.reports.material import Material
from analysis.reports.paper import COPY_WORDS, Copy, Paper, Part, Table
from analysis.vocabulary import Grouping, Role
from analysis.words import (
    counted,
    day_year,
    listed,
    long_day,
    percent,
    plain,
    sentence,
    short_day,
    thousands,
)

ROLE_WORDS = {
    Role.MANAGER: "nurse manager",
    Role.PREVENTION: "infection prevention",
    Role.EDUCATOR: "educator",
}
WEEKS_SHOWN = 6


def titled(made: Material, role: Role, copy: Copy, brief: list[str], parts: list[Part]) -> Paper:
    """A paper with what it rests on."""
    period = made.period
    what = "Weekly digest" if period.is_week else "Monthly report"
    keys = {key for part in parts for key in part.explained}
    return Paper(
        role=role,
        copy=copy,
        title=f"{what} for {ROLE_WORDS[role]}: {period.said}",
        about=f"{_of_sites(made)}{COPY_WORDS[copy]}",
        brief=tuple(brief),
        parts=tuple(p for p in (*parts, completeness(made, copy))),
        standing=standing(made),
        definitions=definitions_of(keys | {"home_line_days", "log_coverage"}),
    )


def _of_sites(made: Material) -> str:
    """Whose families alone are counted, in words; nothing where it is all."""
    if made.sites is None:
        return ""
    said = "site" if len(made.sites) == 1 else "sites"
    return f"Counts the families of the {said} {listed(list(made.sites))} alone. "


def definitions_of(keys: set[str]) -> tuple[Definition, ...]:
    """The definitions with these keys, in reading order."""
    return tuple(d for d in DEFINITIONS if d.key in keys)


def standing(made: Material) -> tuple[tuple[str, str], ...]:
    """Names and values of what the numbers rest on."""
    now = made.now
    edition = now.edition
    return (
        ("Days that count", f"{long_day(made.period.start)} to {long_day(made.period.last)}"),
        ("Read in the morning of", long_day(made.period.end)),
        ("Known", f"rows received up to the {made.known_by} ({now.policy.time_zone})"),
        (
            "Policy",
            (
                f"{now.policy.name}, edition {edition.version}, in force from "
                f"{day_year(edition.effective_from)}"
            ),
        ),
        ("Sites", "all" if made.sites is None else listed(list(made.sites))),
        ("Made from", counted(made.n_files, "file", "files")),
        ("SHA-256 of files, calls and policy", made.fingerprint),
    )


def completeness(made: Material, copy: Copy) -> Part:
    """How complete the data are: heard from, still to come, refused."""
    heard = log_coverage(made.tallies, Grouping.ALL)
    share = None if heard.empty else heard["log_coverage"].iloc[0]
    answer = (
        f"Families were heard from on {percent(share)} of the home line-days (log coverage). "
        "Not logged is not the same as not done."
    )
    notes = [] if made.refused is None or copy is Copy.OUTSIDE else [refused_words(made)]
    tables = _late(made)
    if tables:
        notes.append(
            "Still to come: judged by how late earlier entries came in. A week marked provisional "
            "may still change what is told here of it."
        )
    else:
        notes.append("No entry of the last half year is known, so nothing can be told of delays.")
    return Part(
        "How complete are the data?",
        answer,
        tables=tables,
        notes=tuple(notes),
        explained=("log_coverage",),
    )


def refused_words(made: Material) -> str:
    """Refused rows that wait to be mended, in words."""
    refused = made.refused
    if refused is None or refused.empty:
        return "No refused row waits to be mended."
    since = pd.Timestamp(made.period.start)
    new = int((refused["received_at"] >= since).sum())
    return (
        f"{counted(len(refused), 'refused row waits', 'refused rows wait')} to be mended, "
        f"{thousands(new)} of them received since {short_day(made.period.start, made.period.end)}; "
        "what they tell is in no number here."
    )


def _late(made: Material) -> tuple[Table, ...]:
    """How much of the last weeks' entries has come, by source."""
    now = made.now
    found = lateness(now.records, now.ingests, now.policy, made.known_on).weeks
    if found.empty:
        return ()
    weeks = sorted(found["week_from"].unique())[-WEEKS_SHOWN:]
    recent = found[found["week_from"].isin(weeks)]
    rows = []
    for source, own in recent.groupby("source", dropna=False, sort=True):
        name = plain(str(source)) if isinstance(source, str) else "our own form"
        cells = [
            f"{percent(share)}{' provisional' if open_ else ''}"
            for share, open_ in zip(own["completeness"], own["provisional"], strict=True)
        ]
        rows.append((sentence(name)[:-1], *cells))
    heads = ("Source", *(f"from {short_day(pd.Timestamp(w).date(), made.known_on)}" for w in weeks))
    return (Table("Share of each week's entries that has come in", heads, tuple(rows)),)
