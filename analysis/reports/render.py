"""How does a report become HTML: a file, or part of a page?

One set of templates serves both, and the same report gives the same text, byte for byte.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from analysis.reports.drawing import Drawing
from analysis.reports.period import Period
from analysis.reports.report import Report


def file_name(report: Report, period: Period) -> str:
    """The name of a report's files, without the extension."""
    return f"linedays-{period.name}-{report.role}-{report.copy}"


def style_sheet() -> str:
    """The styles of a report; all but the print margins apply inside the class `report` only."""
    return (resources.files("analysis.reports") / "templates" / "report.css").read_text(
        encoding="utf-8"
    )


def html_file(report: Report) -> str:
    """A self-contained HTML file: styles and figures inside, nothing fetched."""
    return _templates().get_template("report.html").render(report=report, style=style_sheet())


def body(report: Report) -> str:
    """Everything below the title."""
    return _templates().get_template("body.html").render(report=report)


def svg(drawing: Drawing) -> str:
    """A drawing on its own, for a notebook."""
    return _templates().get_template("drawing.svg").render(drawing=drawing)


@cache
def _templates() -> Environment:
    found = Environment(
        loader=PackageLoader("analysis.reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_with_its_unit,
    )
    found.filters["place"] = "{:.1f}".format
    found.filters["size"] = "{:g}".format
    return found


def _with_its_unit(value: Any) -> Any:
    """Keep a number on one line with its per cent sign."""
    return value.replace(" %", "\u00a0%") if type(value) is str else value
