"""How does somebody come in by the hospital's sign-in, and leave it again?

The browser comes back from another site, so that it sends no strict cookie: what was remembered is
in a lax one of its own for a few minutes, and the last answer is a page that leads on.
"""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any

from dash import Dash
from flask import Response, current_app, redirect, request, session
from itsdangerous import BadData, URLSafeTimedSerializer

from dashboard.layout.templates import render
from dashboard.provider import SettingsError
from dashboard.security import plain
from dashboard.security.cookies import CookieNames
from dashboard.security.csrf import needs_secure
from dashboard.security.openid import OpenIdClient, ProviderError
from dashboard.security.sign_in import SIGN_IN, account_of_request, safe_way
from dashboard.session.service import Service

BEGIN = f"{SIGN_IN}/provider"
BACK = f"{SIGN_IN}/return"
REMEMBERED_SECONDS = 600
BY_PROVIDER = "by provider"
NO_GROUP = "None of your groups may use linedays. Ask your linedays administrator."
TAKEN_LONG = "Signing in took too long. Try again."


def let_in_by_provider(app: Dash, service: Service, names: CookieNames) -> None:
    """Register the routes, if the settings name a provider."""
    provider = service.config.web.provider
    if provider is None:
        return
    if find_spec("authlib") is None:
        raise SettingsError(
            "The table provider of the settings needs the extra openid: "
            "pip install 'linedays[openid]'"
        )
    client = OpenIdClient(provider, service.config.clock)
    app.server.config["PROVIDER_NAME"] = provider.name
    app.server.config["SIGN_OUT_WAY"] = lambda: _way_out(client)
    rules = app.server.add_url_rule
    rules(BEGIN, "provider_begin", lambda: _begin(client, names))
    rules(BACK, "provider_return", lambda: _come_back(client, service, names))


def _way_out(client: OpenIdClient) -> str:
    """Where a person goes after signing out here: who came by the provider signs out there too."""
    if not session.get(BY_PROVIDER):
        return SIGN_IN
    return client.sign_out_address(request.host_url.rstrip("/") + SIGN_IN) or SIGN_IN


def _signer() -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(current_app.secret_key or "", salt="provider")


def _back() -> str:
    return request.host_url.rstrip("/") + BACK


def _begin(client: OpenIdClient, names: CookieNames) -> Any:
    to = safe_way(request.args.get("to"))
    try:
        address, remembered = client.begin(_back())
    except ProviderError as fault:
        return plain.sign_in_page(to, str(fault), "", status=503)
    answer = redirect(address, code=303)
    answer.set_cookie(
        names.provider,
        str(_signer().dumps({**remembered, "to": to})),
        max_age=REMEMBERED_SECONDS,
        httponly=True,
        samesite="Lax",
        secure=needs_secure(),
        path="/",
    )
    return answer


def _come_back(client: OpenIdClient, service: Service, names: CookieNames) -> Response:
    try:
        remembered = _signer().loads(
            request.cookies.get(names.provider, ""), max_age=REMEMBERED_SECONDS
        )
    except BadData:
        return plain.sign_in_page("/", TAKEN_LONG, "", status=400)
    to = safe_way(remembered["to"])
    try:
        who = client.finish(_back(), request.args, remembered)
        access = client.provider.access_of(who.groups)
        if access is None:
            raise ProviderError(NO_GROUP)
        token = service.sign_in_of_provider(
            who, access, request.remote_addr or "", account_of_request()
        )
    except ProviderError as fault:
        return _forgetting(plain.sign_in_page(to, str(fault), "", status=401), names)
    session.clear()
    session[BY_PROVIDER] = True
    answer = Response(render("security/onward", title="Signed in", to=to), mimetype="text/html")
    answer.set_cookie(
        names.sign_in, token, httponly=True, samesite="Strict", secure=needs_secure(), path="/"
    )
    return _forgetting(answer, names)


def _forgetting(answer: Response, names: CookieNames) -> Response:
    answer.delete_cookie(names.provider, path="/", samesite="Lax", secure=needs_secure())
    return answer
