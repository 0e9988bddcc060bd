"""What is the data dictionary, as the contributors' guide prints it?

``python -m analysis.tables.describe`` rewrites the marked block of DEVELOPERS.md from the
catalogue; with ``--check`` it only reports whether the block is up to date.
"""

from __future__ import annotations

import sys
from pathlib import Path

from analysis.tables.columns import Column, Frame
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW

START = "<!-- tables: written by python -m analysis.tables.describe -->"
END = "<!-- end of tables -->"


def dictionary() -> str:
    """Return the tables that come in, in Markdown, one table a frame."""
    parts = [
        "Every table may also carry "
        + " and ".join(f"`{c.name}` ({c.meaning}; blank: {c.blank})" for c in ON_EVERY_ROW)
        + "."
    ]
    parts += [_frame(entry) for entry in INCOMING.values()]
    return "\n\n".join(parts)


def _frame(entry: Frame) -> str:
    lines = [
        f"### {entry.name}",
        "",
        f"{entry.grain[0].upper()}{entry.grain[1:]}; its key: {', '.join(entry.key)}.",
        "",
        "| column | holds | need | meaning | blank means |",
        "|---|---|---|---|---|",
    ]
    return "\n".join(lines + [_row(column) for column in entry.columns])


def _row(column: Column) -> str:
    holds = " ".join(f"`{word}`" for word in column.allowed) or str(column.kind)
    if column.low is not None:
        holds = f"whole number {column.low}–{column.high}"
    need = "required" if column.required else ""
    return f"| {column.name} | {holds} | {need} | {column.meaning} | {column.blank or ''} |"


def in_guide(guide: str) -> str:
    """Return the guide's text with the block between the marks written again.

    Raises
    ------
    ValueError
        The guide has no marks.
    """
    before, start, rest = guide.partition(START)
    _, end, after = rest.partition(END)
    if not start or not end:
        raise ValueError(f"the guide needs the marks {START} and {END}")
    return f"{before}{START}\n\n{dictionary()}\n\n{END}{after}"


def main(arguments: list[str]) -> int:
    """Rewrite the guide in the working folder; ``--check``: 1 when it was out of date."""
    path = Path("DEVELOPERS.md")
    old = path.read_text(encoding="utf-8")
    new = in_guide(old)
    if "--check" in arguments:
        return int(new != old)
    path.write_text(new, encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
