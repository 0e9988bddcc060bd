"""Who is asking? The page to sign in, the way out, and the check before every other request.

The browser holds a random token in a cookie that scripts cannot read; the store holds its hash,
so that a sign-in can be ended from here. Only what a person does keeps it open: a page that asks
by itself does not.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import quote, urlsplit

from dash import Dash
from flask import Response, abort, current_app, g, redirect, request, session

from dashboard.addresses.family import read_family
from dashboard.layout import frame as shell
from dashboard.layout import ids
from dashboard.machine_account import IN_REQUEST
from dashboard.security import plain
from dashboard.security.cookies import CookieNames
from dashboard.security.csrf import needs_secure
from dashboard.security.gate import CALLBACKS, WITHOUT_NAME
from dashboard.security.roles import ACCOUNT, BELOW_ACCOUNT, PATHS, Page, Reader, page_of
from dashboard.session.service import Service
from dashboard.session.session import Session

SIGN_IN = "/sign-in"
SECOND_STEP = f"{SIGN_IN}/code"
SIGN_OUT = "/sign-out"
WITHOUT_SIGN_IN = (SIGN_IN, "/assets/")
"""The page to sign in, and program files, which hold no data."""
NOT_PAGES = ("/_", "/assets/")

SECOND_STEP_MINUTES = 5
"""So long after the password the code of the second factor may come."""
PENDING = "second step"
WRONG = "Wrong code or password, or this account is closed."
WRONG_CODE = "That is not the code of this moment, nor a recovery code that is left."
ENDED = "Your sign-in has ended. Sign in again."
DRAFT = {
    "codes": f"{ENDED} The call you had not recorded yet is filled in again after that.",
    "note": f"{ENDED} The call you had not recorded yet is filled in again after that, but not its "
    "note: notes are private, so the browser does not store them.",
}
"""Where the page that was left held a form not sent yet."""
SET_UP_FIRST = "Your role signs in in two steps. Set that up on the page of your account first."
OLD = "That page is out of date. Sign in again."


def let_in(app: Dash, service: Service, names: CookieNames) -> None:
    """Ask everybody to sign in before anything else is answered.

    Has to be registered before the check of tokens against forged requests: after a sign-in has
    ended, the answer is to be "sign in again" and not "forged".
    """

    def check() -> Any:
        if request.path.startswith(WITHOUT_SIGN_IN) or request.path in WITHOUT_NAME:
            return None
        token = request.cookies.get(names.sign_in)
        reader = service.reader_of(token, account_of_request(), uses=_somebody_acts())
        if reader is None:
            return _to_sign_in()
        g.reader = reader
        if not _is_own_account(request.path) and service.has_to_set_up(reader):
            return redirect(ACCOUNT, code=303) if _is_page() else abort(403, SET_UP_FIRST)
        return _page_answer(service, reader) if _is_page() else None

    app.server.before_request(check)

    def sign_in() -> Any:
        return _sign_in(service, names)

    def sign_out() -> Any:
        return _sign_out(service, names)

    def second_step() -> Any:
        return _second_step(service, names)

    app.server.add_url_rule(SECOND_STEP, "second_step", second_step, methods=["GET", "POST"])
    app.server.add_url_rule(SIGN_IN, "sign_in", sign_in, methods=["GET", "POST"])
    app.server.add_url_rule(SIGN_OUT, "sign_out", sign_out, methods=["POST"])


def signed_in() -> Reader:
    """Who is asking, in any request that was let in."""
    reader = g.get("reader")
    if not isinstance(reader, Reader):
        abort(401, ENDED)
    return reader


def account_of_request() -> str:
    """The account of this machine that sends the request; blank where it plays no part."""
    return str(request.environ.get(IN_REQUEST, ""))


def session_of_request(service: Service) -> Session:
    """The session of this request: one snapshot for all that is answered in it."""
    reader = signed_in()
    session = g.get("session")
    if not isinstance(session, Session):
        session = g.session = service.session_of(reader)
    return session


def home_of(reader: Reader) -> str:
    """Path of the first page that a person may open.

    Examples
    --------
    >>> from analysis.vocabulary import Role
    >>> home_of(Reader("N1", Role.MANAGER))
    '/'
    """
    return shell.places_of(reader)[0][0]


def safe_way(to: str | None) -> str:
    r"""A path on this dashboard to go on to; anything else becomes the first page.

    Examples
    --------
    >>> safe_way("/family/F1?time=all"), safe_way("//example.org"), safe_way("/\\example.org")
    ('/family/F1?time=all', '/', '/')
    """
    if not to or not to.startswith("/") or to.startswith(("//", "/sign-")) or "\\" in to:
        return "/"
    if not to.isprintable():
        return "/"
    parts = urlsplit(to)
    return "/" if parts.scheme or parts.netloc else to


def _is_own_account(path: str) -> bool:
    return path in {ACCOUNT, SIGN_OUT} or path.startswith(BELOW_ACCOUNT)


def _is_page() -> bool:
    return request.method in {"GET", "HEAD"} and not request.path.startswith(NOT_PAGES)


def _somebody_acts() -> bool:
    if request.path != CALLBACKS:
        return _is_page()
    body = request.get_json(silent=True)
    changed = body.get("changedPropIds") if isinstance(body, dict) else None
    if not isinstance(changed, list):
        return False
    names = [name for name in changed if isinstance(name, str)]
    return any(
        not name.endswith(".n_intervals") and name not in ids.CHANGED_BY_ITSELF for name in names
    )


def _to_sign_in() -> Any:
    if not _is_page():
        abort(401, ENDED)
    way = request.full_path.rstrip("?")
    return redirect(SIGN_IN if way == "/" else f"{SIGN_IN}?to={quote(way, safe='')}", code=303)


def _page_answer(service: Service, reader: Reader) -> Any:
    """What is answered to a person who asks for a page; None: the page itself."""
    page = page_of(request.path)
    if page is Page.CALLS and not reader.may_open(page):
        return redirect(home_of(reader), code=303)
    if page is None:
        return plain.nothing_here("There is no page at this address.")
    reader.must_open(page)
    if page is Page.FAMILY and not session_of_request(service).knows_family(
        read_family(request.path)
    ):
        return plain.nothing_here("No family has this code.")
    return None


def _sign_in(service: Service, names: CookieNames) -> Any:
    to = safe_way(request.values.get("to"))
    before = request.cookies.get(names.sign_in)
    if request.method == "GET":
        if service.reader_of(before, account_of_request(), uses=False) is not None:
            return redirect(to, code=303)
        ended = DRAFT.get(request.args.get("draft", ""), ENDED)
        message = OLD if "old" in request.args else ended if before else None
        return plain.sign_in_page(to, message, "")
    code = request.form.get("code", "").strip()
    password, address = request.form.get("password", ""), request.remote_addr or ""
    done = service.sign_in(code, password, address, account_of_request())
    if done.needs_code:
        _new_session()
        until = service.config.clock() + timedelta(minutes=SECOND_STEP_MINUTES)
        session[PENDING] = {"code": code, "until": until.timestamp()}
        return redirect(f"{SECOND_STEP}?to={quote(to, safe='')}", code=303)
    if done.token is None:
        if done.wait_seconds:
            return _has_to_wait(
                plain.sign_in_page(to, _wait(done.wait_seconds), code, status=429),
                done.wait_seconds,
            )
        return plain.sign_in_page(to, WRONG, code, status=401)
    return _signed_in(service, names, done.token, to)


def _second_step(service: Service, names: CookieNames) -> Any:
    """Ask for the code of the second factor; who got past the password is in the signed session."""
    to = safe_way(request.values.get("to"))
    pending = session.get(PENDING)
    if not pending or pending["until"] < service.config.clock().timestamp():
        return redirect(f"{SIGN_IN}?old=1", code=303)
    if request.method == "GET":
        return plain.second_step_page(to, None)
    typed, address = request.form.get("typed", ""), request.remote_addr or ""
    done = service.sign_in_with_code(pending["code"], typed, address, account_of_request())
    if done.wait_seconds:
        return _has_to_wait(
            plain.second_step_page(to, _wait(done.wait_seconds), status=429), done.wait_seconds
        )
    if done.token is None:
        return plain.second_step_page(to, WRONG_CODE, status=401)
    return _signed_in(service, names, done.token, to)


def _signed_in(service: Service, names: CookieNames, token: str, to: str) -> Any:
    """Go on with a new sign-in; one of before ends."""
    before = request.cookies.get(names.sign_in)
    if before:
        service.sign_out(before)
    _new_session()
    onward = redirect(to, code=303)
    onward.set_cookie(
        names.sign_in, token, httponly=True, samesite="Strict", secure=needs_secure(), path="/"
    )
    return onward


def _wait(seconds: int) -> str:
    return f"Too many attempts. Wait {_minutes(seconds)}, then try again."


def _has_to_wait(answer: Response, seconds: int) -> Response:
    answer.headers["Retry-After"] = str(seconds)
    return answer


def _minutes(seconds: int) -> str:
    if seconds <= 90:
        return f"{seconds} seconds"
    return f"{-(-seconds // 60)} minutes"


def _sign_out(service: Service, names: CookieNames) -> Any:
    token = request.cookies.get(names.sign_in)
    if token:
        service.sign_out(token)
    way = current_app.config.get("SIGN_OUT_WAY", lambda: SIGN_IN)()
    _new_session()
    answer = redirect(way, code=303)
    for cookie in (names.sign_in, names.csrf):
        answer.delete_cookie(cookie, path="/", samesite="Strict", secure=needs_secure())
    return answer


def _new_session() -> None:
    """Leave nothing of the session before; the token kept in `g` belongs to it too."""
    session.clear()
    g.pop("csrf_token", None)


assert PATHS[Page.CALLS] == "/"  # where `safe_way` leads when it leads nowhere else
