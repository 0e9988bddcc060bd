"""How does a report become a PDF, with nothing fetched and the same bytes each time?"""

from __future__ import annotations

from analysis.errors import UserError

NEEDS = (
    "The PDF was not written: it needs the system library Pango (on Debian: apt-get install "
    "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core). The HTML file has "
    "the same content and prints from a browser."
)


class PdfError(UserError):
    """The PDF cannot be made on this machine; one sentence for a user."""


def pdf_file(html: str) -> bytes:
    """Set a self-contained HTML file on A4 pages.

    Parameters
    ----------
    html : str
        As `render.html_file` returns it.

    Returns
    -------
    bytes
        The same for the same text on the same machine; other fonts give other bytes.

    Raises
    ------
    PdfError
        The system libraries are missing.
    """
    try:
        import weasyprint
    except (ImportError, OSError):
        raise PdfError(NEEDS) from None

    fetches_nothing = weasyprint.URLFetcher(allowed_protocols=())
    page = weasyprint.HTML(string=html, url_fetcher=fetches_nothing)
    return bytes(page.write_pdf(pdf_identifier=b"linedays", pdf_tags=True))
