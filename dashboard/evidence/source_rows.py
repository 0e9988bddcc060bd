"""How is a stored row shown, so that a reader can find it in the file it came from?"""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.evidence.views import Source, SourceInTime
from dashboard.layout import words


def source_row(source: Source, *, level: str = "h4") -> Component:
    """A stored row with its file, sheet and row, when it was received, and its filled cells."""
    heading = getattr(html, level.capitalize())(words.TABLES.get(source.table, source.table))
    return html.Div(
        [
            heading,
            html.P(where_from(source), className="where"),
            html.Dl(
                [
                    html.Div([html.Dt(words.head(name)), html.Dd(text)])
                    for name, text in source.cells
                ]
            ),
            *(
                [
                    html.P(
                        "Doubts: " + ", ".join(words.plain(d) for d in source.doubts),
                        className="doubts",
                    )
                ]
                if source.doubts
                else []
            ),
        ],
        className="source",
    )


def source_in_time(found: SourceInTime) -> list[Component]:
    """A stored row, which columns it left blank, and the versions of it that stood before."""
    parts: list[Component] = [source_row(found.row, level="h3")]
    if found.row.blank:
        blank = words.listed([words.head(name) for name in found.row.blank])
        parts.append(html.P(f"Left blank: {blank}.", className="hint"))
    if not found.earlier and not found.left_out:
        return parts
    parts.append(html.P("It took the place of what was received before:", className="took-place"))
    parts += [source_row(version) for version in found.earlier]
    if found.left_out:
        said = words.counted(found.left_out, "version speaks", "versions speak")
        parts.append(html.P(f"{said} of another family and can't be shown here.", className="hint"))
    return parts


def where_from(source: Source) -> str:
    """File, sheet, row and time of receipt as one line."""
    when = "" if source.received_at is None else f"{source.received_at:%d %b %Y, %H:%M}"
    if source.file is None:
        return f"recorded here on {when}"
    sheet = f", sheet {source.sheet}" if source.sheet else ""
    return f"{source.file}{sheet}, row {source.row_number}; received {when}"
