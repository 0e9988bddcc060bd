"""The form to bring log files in: dropped on it or chosen, sent as plain HTML."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.incoming.queries.received import OWN_FORM
from dashboard.incoming.views import Bringing
from dashboard.layout.attributes import aria, takes_files
from dashboard.layout.static import input_field
from dashboard.security import csrf
from dashboard.security.roles import FILES

CHECKS = (
    "CSV, XLSX, ODS or Parquet, up to {most} together. The checks are those of the command line: "
    "each file goes in whole or not at all, and rows that cannot be used are kept and listed here."
)


def bring_in(bringing: Bringing) -> Component:
    """Form with a place to drop files on; without scripts its button and list are enough."""
    return html.Form(
        [
            input_field(type="hidden", name="csrf_token", value=csrf.token()),
            html.Div(
                [
                    html.Label("Drop log files here, or choose them", htmlFor="log-files"),
                    input_field(
                        type="file",
                        id="log-files",
                        name="file",
                        multiple=True,
                        required=True,
                        **aria(describedby="log-files-checks"),
                    ),
                    html.P(
                        CHECKS.format(most=megabytes(bringing.most_bytes)),
                        id="log-files-checks",
                        className="hint",
                    ),
                    html.P("", className="chosen", role="status"),
                ],
                className="field drop",
            ),
            *([_source(bringing.profiles)] if bringing.profiles else []),
            html.Div(html.Button("Bring in", type="submit", className="main-action")),
        ],
        action=FILES,
        method="POST",
        encType="multipart/form-data",
        className="form",
        **takes_files(bringing.most_bytes),
    )


def megabytes(number: int) -> str:
    """Bytes as megabytes.

    Examples
    --------
    >>> megabytes(50_000_000), megabytes(1_500_000)
    ('50 MB', '1.5 MB')
    """
    return f"{number / 1e6:g} MB"


def _source(profiles: tuple[str, ...]) -> Component:
    options = [html.Option(OWN_FORM, value=""), *(html.Option(p, value=p) for p in profiles)]
    return html.Div(
        [
            html.Label("Written by", htmlFor="log-source"),
            html.Select(options, id="log-source", name="source"),
        ],
        className="select",
    )
