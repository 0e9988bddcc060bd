"""The command that writes the report of a week or a month."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.options import (
    DEFAULT_STORE,
    ForceOption,
    KnownAtOption,
    PolicyOption,
    StoreOption,
    opened,
    today,
)
from analysis.files import check_writable, write_whole
from analysis.measures import MeasureError
from analysis.policy import load_policy
from analysis.reports import (
    REPORTS,
    Copy,
    PdfError,
    Period,
    Report,
    file_name,
    gather,
    html_file,
    month,
    pdf_file,
    week,
)
from analysis.vocabulary import Role


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("report")(report)


class For(StrEnum):
    """Whose report."""

    MANAGER = str(Role.MANAGER)
    PREVENTION = str(Role.PREVENTION)
    EDUCATOR = str(Role.EDUCATOR)
    ALL = "all"


def report(
    whose: Annotated[For, typer.Option("--for", help="Whose report; all: one for each role.")],
    month_name: Annotated[
        str | None, typer.Option("--month", metavar="MONTH", help="Report on a month: 2031-03.")
    ] = None,
    week_name: Annotated[
        str | None,
        typer.Option("--week", metavar="WEEK", help="Weekly summary of an ISO week: 2031-W11."),
    ] = None,
    folder: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="Where the files are put.")
    ] = Path(),
    copy: Annotated[
        Copy,
        typer.Option(
            "--copy",
            help="team: names families and shows small counts; outside: no family, counts from 1 "
            "to 10 hidden.",
        ),
    ] = Copy.TEAM,
    site: Annotated[
        list[str] | None,
        typer.Option(
            "--site", metavar="SITE", help="Only families of this site; may be repeated [all]."
        ),
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    known_at: KnownAtOption = None,
    force: ForceOption = False,
) -> None:
    """Weekly summary or monthly report as one HTML file and one PDF for each role.

    Rows received after the last day of the week or month are left out, unless --known-at names
    a later day. The same command on the same store gives the same files.
    """
    period = _period(month_name, week_name)
    in_force = load_policy(policy)
    with opened(store) as found:
        made = gather(found, in_force, period, known_at, today(in_force), site or None)
    unknown = sorted(set(site or ()) - set(made.now.records.lines["site"]))
    if unknown:
        raise MeasureError(
            f"no line of {', '.join(unknown)} is known by then; check how the site is written."
        )
    roles = list(REPORTS) if whose is For.ALL else [Role(str(whose))]
    folder.mkdir(parents=True, exist_ok=True)
    made_reports = [REPORTS[role](made, copy) for role in roles]
    for each in made_reports:
        for ending in (".html", ".pdf"):
            check_writable(_file(each, period, folder, ending), replace=force)
    missing = {_write(each, period, folder, force=force) for each in made_reports} - {None}
    if missing:
        typer.echo(f"linedays: {missing.pop()}", err=True)
        raise typer.Exit(3)


def _period(month_name: str | None, week_name: str | None) -> Period:
    if (month_name is None) == (week_name is None):
        raise MeasureError("a report is of a month or of a week: give --month or --week.")
    return month(month_name) if month_name is not None else week(str(week_name))


def _file(made: Report, period: Period, folder: Path, ending: str) -> Path:
    return folder / f"{file_name(made, period)}{ending}"


def _write(made: Report, period: Period, folder: Path, *, force: bool) -> str | None:
    """Write both files; returns why there is no PDF."""
    text = html_file(made)
    written = _file(made, period, folder, ".html")
    write_whole(written, text, replace=force)
    typer.echo(written)
    try:
        pdf = pdf_file(text)
    except PdfError as fault:
        return str(fault)
    write_whole(_file(made, period, folder, ".pdf"), pdf, replace=force)
    typer.echo(_file(made, period, folder, ".pdf"))
    return None
