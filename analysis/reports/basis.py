"""What does every report rest on: days, data received, policy, completeness, definitions?"""

from __future__ import annotations

import pandas as pd

from analysis.definitions import DEFINITIONS, Definition
from analysis.measures.coverage import log_coverage
from analysis.measures.late_reports import lateness
from analysis.reports.cells import safe_share
from analysis.reports.data import ReportData
from analysis.reports.report import COPY_WORDS, Part, Report, Table
from analysis.snapshot import Snapshot
from analysis.vocabulary import Copy, Grouping, Role
from analysis.words import (
    HIDDEN,
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
ASSUMED = (
    "Some rows were loaded as history: each counts as received on the day it was done, which is an "
    "assumption."
)


def titled(data: ReportData, role: Role, copy: Copy, brief: list[str], parts: list[Part]) -> Report:
    """A report with what it rests on."""
    period = data.period
    what = {"week": "Weekly summary", "month": "Monthly report", "quarter": "Quarterly report"}
    keys = {key for part in parts for key in part.explained}
    return Report(
        role=role,
        copy=copy,
        title=f"{what[period.kind]} for {ROLE_WORDS[role]}: {period.words}",
        about=f"{_of_sites(data)}{COPY_WORDS[copy]}",
        brief=tuple(brief),
        parts=tuple(p for p in (*parts, completeness(data, copy))),
        basis=basis(data),
        definitions=definitions_of(keys | {"home_line_days", "log_coverage"}),
        caveats=caveats(data.now, copy),
    )


def caveats(now: Snapshot, copy: Copy) -> tuple[str, ...]:
    """What every list from these data has to show; a copy for outside without numbers of rows."""
    if copy is Copy.TEAM:
        return now.caveats
    assumed = ASSUMED if now.history_sentence else None
    return tuple(text for text in (now.freshness_sentence, assumed) if text)


def _of_sites(data: ReportData) -> str:
    """Which sites' families are counted, in words; nothing where it is all."""
    if data.sites is None:
        return ""
    noun = "site" if len(data.sites) == 1 else "sites"
    return f"Only families of the {noun} {listed(list(data.sites))}. "


def definitions_of(keys: set[str]) -> tuple[Definition, ...]:
    """The definitions with these keys, in reading order."""
    return tuple(d for d in DEFINITIONS if d.key in keys)


def basis(data: ReportData) -> tuple[tuple[str, str], ...]:
    """Names and values of what the numbers rest on."""
    now = data.now
    edition = now.edition
    return (
        ("Days counted", f"{long_day(data.period.start)} to {long_day(data.period.last)}"),
        ("Morning of", long_day(data.period.end)),
        ("Data received by", f"{data.received_by} ({now.policy.time_zone})"),
        (
            "Policy",
            (
                f"{now.policy.name}, version {edition.version}, in force from "
                f"{day_year(edition.effective_from)}"
            ),
        ),
        ("Sites", "all" if data.sites is None else listed(list(data.sites))),
        ("Files", counted(data.n_files, "file", "files")),
        ("SHA-256 of files, calls and policy", data.fingerprint),
    )


def completeness(data: ReportData, copy: Copy) -> Part:
    """How complete the data are: log coverage, entries still to come, refused rows."""
    heard = log_coverage(data.tallies, Grouping.ALL)
    share = None if heard.empty else heard["log_coverage"].iloc[0]
    shown = HIDDEN if copy is Copy.OUTSIDE and not _may_leave(heard) else percent(share)
    answer = (
        f"Families were logging on {shown} of the home line-days (log coverage). "
        "Care that was not logged may still have been done."
    )
    if copy is Copy.OUTSIDE:
        return Part("How complete are the data?", answer, explained=("log_coverage",))
    notes = [] if data.refused is None else [refused_words(data)]
    tables = _late(data)
    if tables:
        notes.append(
            "Estimated from how late earlier entries arrived. Numbers for a provisional week may "
            "still change."
        )
    else:
        notes.append("There are no entries from the last half year, so delays cannot be estimated.")
    return Part(
        "How complete are the data?",
        answer,
        tables=tables,
        notes=tuple(notes),
        explained=("log_coverage",),
    )


def _may_leave(heard: pd.DataFrame) -> bool:
    """Whether the log coverage has no small part."""
    if heard.empty:
        return True
    row = heard.iloc[0]
    return safe_share(int(row["heard_days"]), int(row["home_line_days"]))


def refused_words(data: ReportData) -> str:
    """Refused rows that are still to be corrected, in words."""
    refused = data.refused
    if refused is None or refused.empty:
        return "No refused rows are waiting to be corrected."
    since = pd.Timestamp(data.period.start)
    new = int((refused["received_at"] >= since).sum())
    return (
        f"{counted(len(refused), 'refused row is', 'refused rows are')} waiting to be corrected, "
        f"{thousands(new)} of them received since {short_day(data.period.start, data.period.end)}; "
        "they are not counted in this report."
    )


def _late(data: ReportData) -> tuple[Table, ...]:
    """Which share of the last weeks' entries has been received, by source."""
    now = data.now
    found = lateness(now.records, now.ingests, now.policy, data.received_on).weeks
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
    heads = (
        "Source",
        *(f"from {short_day(pd.Timestamp(w).date(), data.received_on)}" for w in weeks),
    )
    return (Table("Share of each week's entries received so far", heads, tuple(rows)),)
