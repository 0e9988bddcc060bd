"""What is in the weekly summary for this person? The same content as the command's files."""

from __future__ import annotations

import re
from datetime import date, timedelta
from functools import partial

import pandas as pd
from markupsafe import Markup

from analysis.measures.counts import MeasureError
from analysis.reports import (
    REPORTS,
    Copy,
    PdfError,
    Period,
    Report,
    body,
    file_name,
    gather,
    html_file,
    month,
    month_of,
    pdf_file,
    style_sheet,
    week,
    week_of,
)
from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.addresses.week import WeekChoice
from dashboard.layout.templates import render
from dashboard.layout.words import day_year
from dashboard.security.roles import NAMES, Page, Reader
from dashboard.session.session import Session
from dashboard.session.views import PageContext
from dashboard.week.views import WeekFile, WeekHead

__all__ = ["PdfError", "Report", "as_body", "as_file", "may_read", "week_head", "week_report"]

AT_THE_END = "end"
NOW = "now"
KNOWN = ((AT_THE_END, "received by the end of the week"), (NOW, "everything received so far"))
MOST_WEEKS = 520
MONTH_NAME = re.compile(r"\d{4}-\d{2}")


class WeekQueries:
    """Questions of the weekly summary, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.WEEK)
        self.session = session

    def week_head(self, choice: WeekChoice) -> WeekHead:
        """Which week's summary is shown, for which role, and which others may be chosen."""
        return week_head(self.session.snapshot(), self.session.context(), choice)

    def week_body(self, choice: WeekChoice) -> Markup:
        """The summary of a choice as part of a page."""
        return as_body(self._report(self.week_head(choice).choice))

    def week_file(self, choice: WeekChoice, kind: str) -> WeekFile:
        """The same summary as a file, `html` or `pdf`.

        Raises
        ------
        PdfError
            No PDF can be made on this machine; a sentence.
        """
        asked = self.week_head(choice).choice
        made = as_file(self._report(asked), asked, kind)
        self.session.note_export(made.name)
        return made

    def _report(self, asked: WeekChoice) -> Report:
        session = self.session
        found = session.snapshot()
        make = partial(week_report, session.store, found, session.reader, asked)
        return session.loaded().reports.get(asked, make)


def week_head(found: Snapshot, context: PageContext, choice: WeekChoice) -> WeekHead:
    """Which week is shown of those that are over, and for which role.

    Parameters
    ----------
    found : Snapshot
        Of this person's sites.
    context : PageContext
        Who is reading, and on which day.
    choice : WeekChoice
        Anything unknown is replaced by its default: the last week, the reader's own role.
    """
    newest = week_of(_morning(found)).before()
    oldest = _oldest(found, newest)
    period, mistaken = _period(choice.week, newest, _morning(found))
    roles = [role for role in REPORTS if may_read(context.reader, role)]
    whose = next((r for r in roles if r == choice.whose), None)
    if whose is None:
        whose = next((r for r in roles if r == context.reader.role), roles[0])
    known, unknown = _known(choice.known, period, _morning(found))
    mistaken = mistaken or unknown
    weeks = [newest]
    while weeks[-1].start > min(oldest, period.start) and len(weeks) < MOST_WEEKS:
        weeks.append(weeks[-1].before())
    after = week_of(period.end) if period.is_week else month_of(period.end)
    return WeekHead(
        context=context,
        choice=WeekChoice(period.name, str(whose), known),
        kind=period.kind,
        text=period.words,
        first=period.start,
        weeks=tuple((w.name, w.words) for w in ([] if period.is_week else [period]) + weeks),
        roles=tuple((str(r), NAMES[r]) for r in roles),
        known=KNOWN
        if known in dict(KNOWN)
        else (*KNOWN, (known, f"received by the end of {known}")),
        before=period.before().name if period.start > oldest else None,
        after=after.name
        if after.end <= (newest.end if period.is_week else _morning(found))
        else None,
        empty=_why_empty(found, period) if known == AT_THE_END else None,
        mistaken=mistaken,
    )


def _why_empty(found: Snapshot, period: Period) -> str | None:
    first = found.first_received_on
    if first is None or period.end >= first:
        return None
    return (
        f"Nothing had been received by the end of this {period.kind}: the first log entries came in "
        f"on {day_year(first)}. Choose “{dict(KNOWN)[NOW]}” to see what is known of it now. To count "
        "past logs as received on the day they were done: linedays ingest --history."
    )


def may_read(reader: Reader, role: Role) -> bool:
    """Whether a person may read the summary of a role: their own, and a manager every one."""
    return reader.role in (role, Role.MANAGER)


def _period(asked: str | None, newest: Period, morning: date) -> tuple[Period, str | None]:
    if asked is None:
        return newest, None
    try:
        # A day means its week.
        year, number, _ = date.fromisoformat(asked).isocalendar()
        asked = f"{year:04}-W{number:02}"
    except ValueError:
        pass
    try:
        period = _named(asked)
    except MeasureError as fault:
        return newest, f"{fault} This is the last week that is over."
    if period.end > (newest.end if period.is_week else morning):
        return newest, f"{period.name} is not over yet. This is the last week that is over."
    return period, None


def _named(name: str) -> Period:
    """A week, or a month such as ``2031-03``.

    Raises
    ------
    MeasureError
        There is no such period.
    """
    return month(name) if MONTH_NAME.fullmatch(name) else week(name)


def _known(asked: str | None, period: Period, morning: date) -> tuple[str, str | None]:
    """By when rows were received: the end of the week, now, or the end of a day between."""
    if not asked or asked in dict(KNOWN):
        return asked or AT_THE_END, None
    try:
        day = date.fromisoformat(asked)
    except ValueError:
        return AT_THE_END, f"{asked!r} is not a date; write it as 2031-03-10."
    if period.end <= day < morning:
        return day.isoformat(), None
    if day == period.last:
        return AT_THE_END, None
    return AT_THE_END, (
        f"{day} is not between the end of the week and yesterday. The summary uses data received "
        "by the end of the week."
    )


def _oldest(found: Snapshot, newest: Period) -> date:
    """First day of the week in which the first line came home."""
    first = found.records.lines["home_from"].min()
    return newest.start if pd.isna(first) else min(week_of(first.date()).start, newest.start)


def _morning(found: Snapshot) -> date:
    """The morning up to which data may be used here."""
    known_on = found.known_at.astimezone(found.policy.zone).date()
    return min(found.as_of, known_on + timedelta(days=1))


def week_report(store: Store, found: Snapshot, reader: Reader, choice: WeekChoice) -> Report:
    """The summary of a choice that `week_head` has read, for the team."""
    period = _named(str(choice.week))
    morning = _morning(found)
    known_at = None if choice.known == AT_THE_END else morning - timedelta(days=1)
    if choice.known not in dict(KNOWN):
        known_at = date.fromisoformat(str(choice.known))
    role = Role(str(choice.whose))
    made = gather(store, found.policy, period, known_at, morning, reader.sites, [role])
    return REPORTS[role](made, Copy.TEAM)


def as_body(report: Report) -> Markup:
    """A report as part of a page."""
    # The report's own templates have escaped every text.
    content, style = Markup(body(report)), Markup(style_sheet())  # noqa: S704
    return render("week/body", report=content, style=style)


def as_file(report: Report, choice: WeekChoice, kind: str) -> WeekFile:
    """A report as `linedays report` writes it: `html` or `pdf`.

    Raises
    ------
    PdfError
        A PDF cannot be made on this machine; a sentence.
    """
    text = html_file(report)
    name = f"{file_name(report, _named(str(choice.week)))}.{kind}"
    if kind == "pdf":
        return WeekFile(name, pdf_file(text), "application/pdf")
    return WeekFile(name, text.encode(), "text/html")
