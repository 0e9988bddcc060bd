"""What did a reader of the call list choose, and how does the address say it?"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode

from dashboard.addresses.reading import whole_number


@dataclass(frozen=True)
class Choice:
    """What a reader of the call list chose; it is part of the page's address."""

    band: str | None = None
    site: str | None = None
    nurse: str | None = None
    language: str | None = None
    page: int = 1
    per_page: int = 50
    family_id: str | None = None


def read_choice(search: str | None) -> Choice:
    """Choice from the address's query; what is not understood is left at its default.

    Examples
    --------
    >>> read_choice("?show=call_today&page=2").page
    2
    """
    given = {k: v[0] for k, v in parse_qs((search or "").lstrip("?")).items()}
    return Choice(
        band=given.get("show"),
        site=given.get("site"),
        nurse=given.get("nurse"),
        language=given.get("language"),
        page=whole_number(given.get("page"), 1),
        per_page=whole_number(given.get("rows"), 50),
        family_id=given.get("family"),
    )


def write_choice(choice: Choice) -> str:
    """Address of the call list under a choice.

    Examples
    --------
    >>> write_choice(Choice(band="call_today", family_id="F01"))
    '/?show=call_today&family=F01'
    >>> write_choice(Choice())
    '/'
    """
    given = {
        "show": choice.band,
        "site": choice.site,
        "nurse": choice.nurse,
        "language": choice.language,
        "page": None if choice.page == 1 else str(choice.page),
        "rows": None if choice.per_page == 50 else str(choice.per_page),
        "family": choice.family_id,
    }
    query = urlencode({k: v for k, v in given.items() if v is not None})
    return f"/?{query}" if query else "/"
