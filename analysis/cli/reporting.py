"""The command that writes the report of a week or a month."""

from __future__ import annotations

from pathlib import Path

import typer

from analysis.cli.nearest import check_known
from analysis.cli.opening import opened, policy_of, today
from analysis.cli.options.files import For, ReportFiles
from analysis.cli.progress import waiting
from analysis.errors import UsageError
from analysis.files import check_writable, write_whole
from analysis.reports import (
    REPORTS,
    PdfError,
    Period,
    Report,
    file_name,
    gather,
    html_file,
    month,
    outside_request,
    pdf_file,
    week,
)
from analysis.vocabulary import Copy, Role


def report(asked: ReportFiles) -> None:
    """Write the report of each role."""
    period, known_at = _period(asked.month_name, asked.week_name), asked.known_at
    site = asked.site or None
    if asked.copy is Copy.OUTSIDE:
        period, known_at = outside_request(period, known_at, site)
    roles = list(REPORTS) if asked.whose is For.ALL else [Role(str(asked.whose))]
    with opened(asked.store) as store:
        in_force = policy_of(store, asked.policy)
        if site is not None:
            check_known("site", site, store.records().lines["site"])
        with waiting("collecting the figures of the report"):
            data = gather(store, in_force, period, known_at, today(in_force), site, roles)
    asked.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    reports = [REPORTS[role](data, asked.copy) for role in roles]
    for made in reports:
        for ending in (".html", ".pdf"):
            check_writable(_file(made, period, asked.folder, ending), replace=asked.force)
    missing = {_write(made, period, asked) for made in reports} - {None}
    if missing:
        typer.echo(f"linedays: {missing.pop()}", err=True)
        raise typer.Exit(3)


def _period(month_name: str | None, week_name: str | None) -> Period:
    if (month_name is None) == (week_name is None):
        raise UsageError("A report is of a month or of a week: give --month or --week.")
    return month(month_name) if month_name is not None else week(str(week_name))


def _file(made: Report, period: Period, folder: Path, ending: str) -> Path:
    return folder / f"{file_name(made, period)}{ending}"


def _write(made: Report, period: Period, asked: ReportFiles) -> str | None:
    """Write both files; returns why there is no PDF."""
    text = html_file(made)
    written = _file(made, period, asked.folder, ".html")
    write_whole(written, text, replace=asked.force)
    typer.echo(written)
    try:
        with waiting("writing the PDF"):
            pdf = pdf_file(text)
    except PdfError as fault:
        return str(fault)
    write_whole(_file(made, period, asked.folder, ".pdf"), pdf, replace=asked.force)
    typer.echo(_file(made, period, asked.folder, ".pdf"))
    return None
