"""How does a choice on a page stand in its address, and come back from it?"""

from __future__ import annotations

from contextlib import suppress
from datetime import date
from urllib.parse import parse_qs, quote, unquote, urlencode

from dashboard.incoming_views import IncomingChoice
from dashboard.rate_views import DwellChoice, RatesChoice
from dashboard.training_views import NeedsChoice, SessionName
from dashboard.views import Choice, FamilyChoice
from dashboard.week_views import WeekChoice

FAMILY = "/family/"
RETRAINING = "/retraining"


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
        page=_whole(given.get("page"), 1),
        per_page=_whole(given.get("rows"), 50),
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


def family_address(family_id: str, choice: FamilyChoice | None = None) -> str:
    """Address of a family's page, under a choice.

    Examples
    --------
    >>> family_address("F 01/2"), family_address("F1", FamilyChoice(time="all", page=2))
    ('/family/F%2001%2F2', '/family/F1?time=all&page=2')
    """
    chosen = choice or FamilyChoice()
    given = {
        "time": None if chosen.time == FamilyChoice().time else chosen.time,
        "page": None if chosen.page == 1 else str(chosen.page),
        "known": None if chosen.known_on is None else chosen.known_on.isoformat(),
    }
    query = urlencode({k: v for k, v in given.items() if v is not None})
    return FAMILY + quote(family_id, safe="") + (f"?{query}" if query else "")


def read_family_choice(search: str | None) -> FamilyChoice:
    """Choice of a family's page from the address's query.

    Examples
    --------
    >>> read_family_choice("?time=all&page=2"), read_family_choice("?time=ever").time
    (FamilyChoice(time='all', page=2, known_on=None), 'weeks')
    >>> read_family_choice("?known=2031-03-04").known_on
    datetime.date(2031, 3, 4)
    """
    given = {k: v[0] for k, v in parse_qs((search or "").lstrip("?")).items()}
    usual = FamilyChoice()
    time = given.get("time", usual.time)
    return FamilyChoice(
        time=time if time in ("weeks", "months", "all") else usual.time,
        page=_whole(given.get("page"), 1),
        known_on=_day(given.get("known")),
    )


def read_family(pathname: str) -> str | None:
    """Family code in a pathname, or None when it is not a family's page."""
    if not pathname.startswith(FAMILY):
        return None
    return unquote(pathname.removeprefix(FAMILY)) or None


def read_rates(search: str | None) -> RatesChoice:
    """Choice of the rates page from the address's query.

    Examples
    --------
    >>> read_rates("?event=pus&by=therapy").by
    'therapy'
    """
    given = parse_qs((search or "").lstrip("?"))
    names = ("event", "basis", "period", "baseline", "by", "first", "second", "since")
    return RatesChoice(**{name: given[name][0] for name in names if name in given})


def read_dwell(search: str | None) -> DwellChoice:
    """Choice of the dwell page from the address's query."""
    return DwellChoice(parse_qs((search or "").lstrip("?")).get("by", ["all"])[0])


def read_incoming(search: str | None) -> IncomingChoice:
    """Which pages of its lists the page of incoming logs shows.

    Examples
    --------
    >>> read_incoming("?refused=3&files=x")
    IncomingChoice(files=1, refused=3)
    """
    given = parse_qs((search or "").lstrip("?"))
    return IncomingChoice(
        files=_whole(given.get("files", [None])[0], 1),
        refused=_whole(given.get("refused", [None])[0], 1),
    )


def incoming_address(choice: IncomingChoice, part: str) -> str:
    """Where a page of a list stands.

    Examples
    --------
    >>> incoming_address(IncomingChoice(files=2), "files")
    '/incoming?files=2#files'
    """
    chosen = {name: n for name, n in vars(choice).items() if n != 1}
    return f"/incoming{'?' if chosen else ''}{urlencode(chosen)}#{part}"


def read_needs(search: str | None) -> NeedsChoice:
    """Choice of the educator's page from the address's query.

    Examples
    --------
    >>> read_needs("?show=all&family=F1&need=mask").opened
    ('F1', None, 'mask')
    """
    given = {k: v[0] for k, v in parse_qs((search or "").lstrip("?")).items()}
    return NeedsChoice(
        show=given.get("show", "likely"),
        step=given.get("step"),
        site=given.get("site"),
        page=_whole(given.get("page"), 1),
        per_page=_whole(given.get("rows"), 50),
        family_id=given.get("family"),
        caregiver_id=given.get("caregiver"),
        need=given.get("need"),
        skill=given.get("skill", NeedsChoice.skill),
        together=given.get("together", NeedsChoice.together),
        size=_whole(given.get("size"), NeedsChoice.size),
        curve=given.get("curve"),
    )


def write_needs(choice: NeedsChoice) -> str:
    """Address of the educator's page under a choice; what is usual is not written.

    Examples
    --------
    >>> write_needs(NeedsChoice(family_id="F1", caregiver_id="K 1", need="mask"))
    '/retraining?family=F1&caregiver=K+1&need=mask'
    """
    usual = NeedsChoice()
    given = {
        name: value
        for name, part in _NEEDS.items()
        if (value := getattr(choice, part)) != getattr(usual, part)
    }
    return f"{RETRAINING}?{urlencode(given)}" if given else RETRAINING


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
"""Names in the address, and the parts of the choice that they stand for."""


def read_session(search: str | None) -> SessionName | None:
    """The session whose sheet an address asks for; None: the page itself.

    Examples
    --------
    >>> read_session("?sheet=2&site=North&need=mask&size=6")
    SessionName(site='North', step='mask', language=None, part=2, size=6)
    >>> read_session("?site=North") is None
    True
    """
    given = {k: v[0] for k, v in parse_qs((search or "").lstrip("?")).items()}
    if "sheet" not in given:
        return None
    return SessionName(
        site=given.get("site", ""),
        step=given.get("need", ""),
        language=given.get("language"),
        part=_whole(given.get("sheet"), 0),
        size=_whole(given.get("size"), NeedsChoice.size),
    )


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
    told = {key: value for key, value in given.items() if value is not None}
    return f"{RETRAINING}?{urlencode(told)}"


def read_week(search: str | None) -> WeekChoice:
    """Choice of the page of the week from the address's query.

    Examples
    --------
    >>> read_week("?week=2031-W11&for=educator")
    WeekChoice(week='2031-W11', whose='educator', known=None)
    """
    given = {k: v[0] for k, v in parse_qs((search or "").lstrip("?")).items()}
    return WeekChoice(given.get("week"), given.get("for"), given.get("known"))


def week_address(choice: WeekChoice, kind: str | None = None) -> str:
    """Where a digest stands; with a kind, the file of it.

    Examples
    --------
    >>> week_address(WeekChoice("2031-W11", "educator", "now"), "pdf")
    '/week/digest.pdf?week=2031-W11&for=educator&known=now'
    """
    given = {"week": choice.week, "for": choice.whose, "known": choice.known}
    query = urlencode({k: v for k, v in given.items() if v is not None})
    return f"/week{f'/digest.{kind}' if kind else ''}?{query}"


def definition_address(key: str) -> str:
    """Where a quantity is explained.

    Examples
    --------
    >>> definition_address("funnel")
    '/definitions#funnel'
    """
    return f"/definitions#{key}"


def _day(text: str | None) -> date | None:
    with suppress(ValueError):
        return date.fromisoformat(text or "")
    return None


def _whole(text: str | None, otherwise: int) -> int:
    return int(text) if text is not None and text.isascii() and text.isdigit() else otherwise
