"""A week or a month on paper: one content, shown as a page, an HTML file or a PDF.

`gather` asks the store; everything after it is a pure function of what was gathered.
"""

from analysis.reports.educator import educator_paper
from analysis.reports.manager import manager_paper
from analysis.reports.material import Material, gather
from analysis.reports.paper import Copy, Paper, usual_copy
from analysis.reports.pdf import PdfError, pdf_file
from analysis.reports.period import Period, month, week, week_of
from analysis.reports.prevention import prevention_paper
from analysis.reports.render import body, file_name, html_file, paper_style
from analysis.vocabulary import Role

PAPERS = {
    Role.MANAGER: manager_paper,
    Role.PREVENTION: prevention_paper,
    Role.EDUCATOR: educator_paper,
}
"""Who has a paper, and how it is put together."""

__all__ = [
    "PAPERS",
    "Copy",
    "Material",
    "Paper",
    "PdfError",
    "Period",
    "body",
    "file_name",
    "gather",
    "html_file",
    "month",
    "paper_style",
    "pdf_file",
    "usual_copy",
    "week",
    "week_of",
]
