"""How is a stored row shown, so that a reader can find it in the file it came from?"""

from __future__ import annotations

from markupsafe import Markup

from dashboard.evidence.views import Source, SourceInTime
from dashboard.layout.templates import render


def source_row(source: Source, *, level: str = "h4") -> Markup:
    """A stored row with its file, sheet and row, when it was received, and its filled cells."""
    return render("evidence/source_row", source=source, level=level)


def source_in_time(found: SourceInTime) -> Markup:
    """A stored row, the columns it left blank, and its earlier versions."""
    return render("evidence/source_in_time", found=found)
