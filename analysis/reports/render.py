"""How does a paper become HTML: a file of its own, or the body of a page?

The same paper gives the same text, byte for byte.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from importlib import resources

from analysis.reports.paper import Paper, Part, Table
from analysis.reports.period import Period

SHORT = 16
"""Tables of no more rows stay on one sheet."""
LONGEST_UNBROKEN = 24
"""Longer texts in a table are words and may be broken; numbers may not."""


def file_name(paper: Paper, period: Period) -> str:
    """The name of a paper's files, without what says their kind."""
    return f"linedays-{period.name}-{paper.role}-{paper.copy}"


def paper_style() -> str:
    """The styles of a paper; all but those of the sheet hold within the class `paper` alone."""
    return (resources.files("analysis.reports") / "paper.css").read_text(encoding="utf-8")


def html_file(paper: Paper) -> str:
    """A self-contained HTML file: styles and figures within, nothing fetched."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_said(paper.title)} · linedays</title>\n<style>\n{paper_style()}</style>\n</head>\n"
        f'<body class="paper">\n<h1>{_said(paper.title)}</h1>\n{body(paper)}</body>\n</html>\n'
    )


def body(paper: Paper) -> str:
    """Everything below the title."""
    return "\n".join(
        (
            f'<p class="copy-for">{_said(paper.about)}</p>',
            f'<p class="cautions-said">{_said(" ".join(paper.cautions))}</p>',
            '<section class="brief"><h2>In brief</h2>',
            _list(paper.brief),
            "</section>",
            *(_part(part) for part in paper.parts),
            _rests_on(paper),
            "",
        )
    )


def _list(texts: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{_said(t)}</li>" for t in texts) + "</ul>"


def _part(part: Part) -> str:
    drawn = "" if part.figure is None else (
        f'<figure role="img" tabindex="0" aria-label="{_said(part.title)} {_said(part.answer)} The table '
        f'below holds the same.">{part.figure.svg}</figure>'
        f'<p class="told">{_said(part.figure.told)}</p>'
    )  # fmt: skip
    notes = "".join(f'<p class="note">{_said(note)}</p>' for note in part.notes)
    return (
        f'<section class="part"><h2>{_said(part.title)}</h2>'
        f'<p class="answer">{_said(part.answer)}</p>{drawn}'
        f"{''.join(_table(t) for t in part.tables)}"
        f"{notes}</section>"
    )


def _table(table: Table) -> str:
    heads = "".join(f'<th scope="col">{_said(h)}</th>' for h in table.heads)
    rows = "".join(
        f'<tr><th scope="row"{_wide(row[0])}>{_said(row[0])}</th>'
        + "".join(f"<td{_wide(c)}>{_said(c)}</td>" for c in row[1:])
        + "</tr>"
        for row in table.rows
    )
    return (
        f'<div class="scroll{" short" if len(table.rows) <= SHORT else ""}" tabindex="0" role="region" aria-label="{_said(table.label)}">'
        f'<table class="plain numbers"><caption>{_said(table.label)}</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _said(text: str) -> str:
    """A text as HTML; a number stays with its per cent sign."""
    return escape(text).replace(" %", "\u00a0%")


def _wide(text: str) -> str:
    return ' class="words"' if len(text) > LONGEST_UNBROKEN else ""


def _rests_on(paper: Paper) -> str:
    standing = "".join(
        f"<div><dt>{_said(name)}</dt><dd>{_said(value)}</dd></div>"
        for name, value in paper.standing
    )
    meanings = "".join(
        f"<div><dt>{_said(d.title)}</dt><dd>{_said(d.words)} "
        f'<span class="source">Unit: {_said(d.unit)}. Source: {_said(d.source)}.</span></dd></div>'
        for d in paper.definitions
    )
    return (
        f'<section class="part"><h2>What the numbers mean</h2><dl class="terms">{meanings}</dl>'
        f'</section><section class="part"><h2>What this paper rests on</h2>'
        f'<dl class="terms standing">{standing}</dl><p class="note">The same period, known-at day and store '
        "give the same paper. Compare the SHA-256 to see whether anything behind it has changed."
        "</p></section>"
    )
