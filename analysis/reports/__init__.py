"""A week or a month of the programme as a report: a page, an HTML file or a PDF.

`gather` reads the store; everything after it is a pure function of what was gathered.
"""

from analysis.reports.data import ReportData, gather
from analysis.reports.educator import educator_report
from analysis.reports.manager import manager_report
from analysis.reports.outside import outside_request
from analysis.reports.pdf import PdfError, pdf_file
from analysis.reports.period import Period, closed_quarter, month, month_of, week, week_of
from analysis.reports.prevention import prevention_report
from analysis.reports.render import body, file_name, html_file, style_sheet
from analysis.reports.report import Report
from analysis.vocabulary import Copy, Role

REPORTS = {
    Role.MANAGER: manager_report,
    Role.PREVENTION: prevention_report,
    Role.EDUCATOR: educator_report,
}
"""Each role with a report, and what puts it together."""

__all__ = [
    "REPORTS",
    "Copy",
    "PdfError",
    "Period",
    "Report",
    "ReportData",
    "body",
    "closed_quarter",
    "file_name",
    "gather",
    "html_file",
    "month",
    "month_of",
    "outside_request",
    "pdf_file",
    "style_sheet",
    "week",
    "week_of",
]
