"""What did a reader of the educator's page choose, and how does the address say it?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from dashboard.addresses.reading import query_of, read, whole_number, written
from dashboard.layout.row_tokens import row_token

RETRAINING = "/retraining"
SESSION = "session"
"""What tokens of training sessions name: their numbers count those of all sites."""


@dataclass(frozen=True)
class NeedsChoice:
    """What a reader of the page chose; it is part of the page's address."""

    show: str = "likely"
    """``likely``: probably above the limit; ``watching``: recently retrained; ``all``: everything
    that was missed."""
    step: str | None = None
    site: str | None = None
    page: int = 1
    per_page: int = 50
    family_id: str | None = None
    caregiver_id: str | None = None
    need: str | None = None
    """Step of the opened row; with family and caregiver it names the row."""
    skill: str = "dressing_change"
    """Whose missing sign-offs are listed."""
    together: str = "site"
    """Who may share a session: families of one ``site``, or also of one ``language``."""
    size: int = 8
    """Most families in a session."""
    curve: str | None = None
    """Step whose learning curve is shown."""

    @property
    def opened(self) -> tuple[str, str | None, str | None] | None:
        """Family, caregiver and step of the row that the reader opened."""
        return None if self.family_id is None else (self.family_id, self.caregiver_id, self.need)


@dataclass(frozen=True)
class SessionName:
    """What names one planned session, independent of the other choices on the page."""

    site: str
    step: str
    language: str | None
    part: int
    size: int


def read_needs(search: str | None) -> NeedsChoice:
    """Choice of the educator's page from the address's query.

    Examples
    --------
    >>> read_needs("?show=all&family=F1&need=mask").opened
    ('F1', None, 'mask')
    """
    return read(NeedsChoice, search, _NEEDS)


def write_needs(choice: NeedsChoice) -> str:
    """Address of the educator's page under a choice; what is usual is not written.

    Examples
    --------
    >>> write_needs(NeedsChoice(family_id="F1", caregiver_id="K 1", need="mask"))
    '/retraining?family=F1&caregiver=K+1&need=mask'
    """
    return written(RETRAINING, choice, _NEEDS)


_NEEDS = {
    "show": "show",
    "step": "step",
    "site": "site",
    "page": "page",
    "rows": "per_page",
    "family": "family_id",
    "caregiver": "caregiver_id",
    "need": "need",
    "skill": "skill",
    "together": "together",
    "size": "size",
    "curve": "curve",
}
"""Names in the address, and the parts of the choice that they name."""


def read_session(search: str | None) -> SessionName | None:
    """The session whose sheet an address asks for; None: the page itself.

    Examples
    --------
    >>> read_session("?sheet=2&site=North&need=mask&size=6")
    SessionName(site='North', step='mask', language=None, part=2, size=6)
    >>> read_session("?site=North") is None
    True
    """
    return session_of(query_of(search))


def session_of(given: Mapping[str, str]) -> SessionName | None:
    """The session named by the values of a query; None: none."""
    if "sheet" not in given:
        return None
    return SessionName(
        site=given.get("site", ""),
        step=given.get("need", ""),
        language=given.get("language"),
        part=whole_number(given.get("sheet"), 0),
        size=whole_number(given.get("size"), NeedsChoice.size),
    )


def plan_address(name: SessionName | None = None) -> str:
    """Address of the form to plan a session, for a group of families where one is named.

    Examples
    --------
    >>> plan_address(SessionName("North", "mask", None, 2, 6))
    '/retraining/sessions/new?sheet=2&site=North&need=mask&size=6'
    """
    query = "" if name is None else session_address(name).partition("?")[2]
    return f"{RETRAINING}/sessions/new{'?' if query else ''}{query}"


def plan_for(family_id: str, caregiver_id: str | None) -> str:
    """Address of the form to plan a session to which one caregiver is invited."""
    asked = {"family": family_id, "caregiver": caregiver_id or ""}
    return f"{RETRAINING}/sessions/new?{urlencode(asked)}"


def dated_address(number: int) -> str:
    """Address of a session's page; as a token, it holds until the server starts again.

    Examples
    --------
    >>> dated_address(3) == f"/retraining/sessions/{row_token(3, SESSION)}"
    True
    """
    return f"{RETRAINING}/sessions/{row_token(number, SESSION)}"


def session_address(name: SessionName) -> str:
    """Address of a session's sheet.

    Examples
    --------
    >>> session_address(SessionName("North", "mask", None, 2, 6))
    '/retraining?sheet=2&site=North&need=mask&size=6'
    """
    given = {
        "sheet": name.part,
        "site": name.site,
        "need": name.step,
        "language": name.language,
        "size": name.size,
    }
    known = {key: value for key, value in given.items() if value is not None}
    return f"{RETRAINING}?{urlencode(known)}"
