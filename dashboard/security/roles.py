"""Which role sees which page, and what on it? One table, read by everything that answers.

A page that is not in the table is open to nobody. The site scope is not a matter of pages: it
narrows every answer to the families of the person's own sites, see `snapshot.of_sites`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from analysis.vocabulary import Role


class Page(StrEnum):
    """What a person can open."""

    CALLS = "calls"
    FAMILIES = "families"
    FAMILY = "family"
    RETRAINING = "retraining"
    RATES = "rates"
    DWELL = "dwell"
    WEEK = "week"
    INCOMING = "incoming"
    DEFINITIONS = "definitions"
    RECORD = "record"
    ACCOUNT = "account"


class Right(StrEnum):
    """What a person may see or do in addition to opening a page."""

    RECORD_CALLS = "record calls"
    CONTACT = "contact"
    LANGUAGE = "language"
    ROWS_RECEIVED = "rows as received"
    CORRECT_ROWS = "correct refused rows"
    BRING_FILES = "import files"
    NOTES = "notes"
    MARK_REFRESHERS = "mark refreshers done"
    ANNOTATE = "annotate rates"


OF_ALL_SITES = frozenset({Right.CORRECT_ROWS, Right.BRING_FILES})
"""What only people may do who see all sites: a row that comes in may be of any site."""


PATHS: Mapping[Page, str] = {
    Page.CALLS: "/",
    Page.FAMILIES: "/families",
    Page.FAMILY: "/family/",
    Page.RETRAINING: "/retraining",
    Page.RATES: "/rates",
    Page.DWELL: "/dwell",
    Page.WEEK: "/week",
    Page.INCOMING: "/incoming",
    Page.DEFINITIONS: "/definitions",
    Page.RECORD: "/record",
    Page.ACCOUNT: "/account",
}
"""Where each page lies; below `/family/` every code has its own."""

BELOW_INCOMING = "/incoming/"
"""Below it lie the forms and files of the page of incoming logs."""
FILES = f"{BELOW_INCOMING}files"
"""Where files are imported."""
ROW = f"{BELOW_INCOMING}row/"
"""Below it every refused row has its form, by its number on the list."""
SOURCE = f"{BELOW_INCOMING}source"
"""Where a source is described from a file that it sent."""
CAUSE = f"{BELOW_INCOMING}cause"
"""Where all refused rows of one cause are corrected at once."""
ENTRY = f"{BELOW_INCOMING}entry/"
"""Below it a log entry without a number of its own is voided, by its number in the store."""
REFUSED = f"{BELOW_INCOMING}refused/"
"""Where refused rows are downloaded, a file a table."""
STARTER = f"{BELOW_INCOMING}starter.zip"
"""Where the starter kit is downloaded."""
BELOW_CALLS = "/calls/"
CALL_SHEET = f"{BELOW_CALLS}sheet"
"""Where calls made from the printed list are typed in."""
CONTACTS = f"{BELOW_CALLS}contacts"
"""Where the call list is printed with contacts."""
BELOW_FAMILIES = "/families/"
"""Below it lies the search for a family."""
BELOW_RETRAINING = "/retraining/"
SESSIONS = f"{BELOW_RETRAINING}sessions/"
"""Below it every training session has its page, by a token."""
BELOW_WEEK = "/week/"
"""Below it lie the digests as files."""
ACCOUNT = PATHS[Page.ACCOUNT]
BELOW_ACCOUNT = f"{ACCOUNT}/"
ACCOUNT_PASSWORD = f"{BELOW_ACCOUNT}password"
ACCOUNT_SIGN_INS = f"{BELOW_ACCOUNT}sign-ins"
ACCOUNT_TWO_STEPS = f"{BELOW_ACCOUNT}two-steps"
"""Where forms of one's own account are sent."""


@dataclass(frozen=True)
class Allowed:
    """What a role may open, see and do; `granted` is added by the grant of single families."""

    pages: frozenset[Page]
    rights: frozenset[Right] = frozenset()
    pages_granted: frozenset[Page] = frozenset()
    rights_granted: frozenset[Right] = frozenset()


ALLOWED: Mapping[Role, Allowed] = {
    Role.MANAGER: Allowed(frozenset(Page), frozenset(Right)),
    Role.NURSE: Allowed(
        frozenset({Page.CALLS, Page.FAMILIES, Page.FAMILY, Page.DEFINITIONS, Page.ACCOUNT}),
        frozenset({Right.RECORD_CALLS, Right.CONTACT, Right.LANGUAGE, Right.NOTES}),
    ),
    Role.PREVENTION: Allowed(
        frozenset(
            {Page.RATES, Page.DWELL, Page.WEEK, Page.INCOMING, Page.DEFINITIONS, Page.ACCOUNT}
        ),
        frozenset({Right.ANNOTATE}),
        pages_granted=frozenset({Page.FAMILY}),
        rights_granted=frozenset({Right.NOTES}),
    ),
    Role.EDUCATOR: Allowed(
        frozenset(
            {Page.RETRAINING, Page.FAMILIES, Page.FAMILY, Page.WEEK, Page.DEFINITIONS, Page.ACCOUNT}
        ),
        frozenset({Right.LANGUAGE, Right.NOTES, Right.MARK_REFRESHERS}),
        rights_granted=frozenset({Right.CONTACT}),
    ),
    Role.READER: Allowed(
        frozenset({Page.DEFINITIONS, Page.RATES, Page.ACCOUNT}),
        pages_granted=frozenset({Page.FAMILY}),
    ),
}

NAMES: Mapping[Role, str] = {
    Role.MANAGER: "nurse manager",
    Role.NURSE: "nurse",
    Role.PREVENTION: "infection prevention",
    Role.EDUCATOR: "educator",
    Role.READER: "reader",
}


class NotAllowedError(Exception):
    """A person's role does not include what was asked for; `what` names it."""

    def __init__(self, what: str) -> None:
        super().__init__(f"Your role does not include this: {what}.")
        self.what = what


@dataclass(frozen=True)
class Reader:
    """Who is signed in, and which families this person may see."""

    code: str
    role: Role
    sites: frozenset[str] | None = None
    """Sites whose families this person may see; None: all of them."""
    families: bool = False
    """Single families are granted beyond the role."""
    caseload: str | None = None
    """Code of the nurse whose families this person calls; None: not one nurse's."""

    def may_open(self, page: Page) -> bool:
        """Whether this person may open a page."""
        allowed = ALLOWED[self.role]
        return page in allowed.pages or (self.families and page in allowed.pages_granted)

    def may(self, right: Right) -> bool:
        """Whether this person may see or do something."""
        if self.sites is not None and right in OF_ALL_SITES:
            return False
        allowed = ALLOWED[self.role]
        return right in allowed.rights or (self.families and right in allowed.rights_granted)

    def must_open(self, page: Page) -> None:
        """Go on only for a person who may open a page.

        Raises
        ------
        NotAllowedError
            This person may not.
        """
        if not self.may_open(page):
            raise NotAllowedError(f"the page {page}")

    def must(self, right: Right) -> None:
        """Go on only for a person who may see or do something.

        Raises
        ------
        NotAllowedError
            This person may not.
        """
        if not self.may(right):
            raise NotAllowedError(str(right))


DEMO_READER = Reader("demo", Role.MANAGER)
"""Who the demo signs in by itself."""


def page_of(path: str) -> Page | None:
    """The page that lies at a path; None where there is none.

    Examples
    --------
    >>> page_of("/"), page_of("/family/F01"), page_of("/family/"), page_of("/nowhere")
    (<Page.CALLS: 'calls'>, <Page.FAMILY: 'family'>, None, None)
    """
    family = PATHS[Page.FAMILY]
    if path.startswith(family):
        return Page.FAMILY if len(path) > len(family) else None
    if path.startswith(BELOW_INCOMING):
        return Page.INCOMING
    if path.startswith(BELOW_CALLS):
        return Page.CALLS
    if path.startswith(BELOW_FAMILIES):
        return Page.FAMILIES
    if path.startswith(BELOW_RETRAINING):
        return Page.RETRAINING
    if path.startswith(BELOW_WEEK):
        return Page.WEEK
    if path.startswith(BELOW_ACCOUNT):
        return Page.ACCOUNT
    return next((page for page, at in PATHS.items() if at == path), None)
