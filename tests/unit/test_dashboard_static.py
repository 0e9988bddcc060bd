"""Is whatever a file holds shown as text, and does every printed page carry the cautions?"""

from __future__ import annotations

from importlib import resources

from analysis.words import CAUTIONS
from dashboard.evidence.source_rows import source_row
from dashboard.evidence.views import Source

HARM = '<img src=x onerror="alert(1)">'


def test_a_source_row_shows_every_cell_as_text():
    source = Source(
        table="home_log",
        row=1,
        file=f"{HARM}.csv",
        sheet=HARM,
        row_number=2,
        received_at=None,
        cells=(("note", HARM), (HARM, "x")),
        doubts=(HARM,),
    )
    shown = source_row(source)
    assert "<img" not in shown
    assert shown.count("&lt;img") == 5


def test_every_printed_sheet_carries_the_cautions_as_they_are_worded():
    style = (resources.files("dashboard") / "assets" / "linedays.css").read_text()
    assert f'content: "{" ".join(CAUTIONS)}";' in style
