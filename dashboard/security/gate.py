"""Does a request come to this machine's own address, from this dashboard's own pages, in shape?

The first check runs before anything else looks at the request, that of the shape as the last.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any
from urllib.parse import urlsplit

from dash import Dash
from flask import abort, request

from dashboard.config import Web

OWN_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
WITHOUT_NAME = frozenset({"/health", "/ready", "/metrics"})
"""Asked by machines, under any name and without encryption; they hold nothing of a family."""
CALLBACKS = "/_dash-update-component"
MOST_BYTES = 1_000_000
"""Longest body accepted: the form to record a call is far shorter."""


def close_gate(app: Dash, web: Web) -> None:
    """Refuse requests for other host names, unencrypted ones of named hosts, and of other sites.

    A page of another site can point a name of its own at this machine (DNS rebinding); its
    requests still carry that name in `Host`.
    """
    app.server.config["MAX_CONTENT_LENGTH"] = MOST_BYTES

    names = frozenset(web.hosts) or OWN_NAMES

    def gate() -> None:
        if request.path in WITHOUT_NAME and request.method in {"GET", "HEAD"}:
            return
        if not names_host(request.host, names):
            abort(403, "This address does not belong to this dashboard.")
        if web.encrypted and request.scheme != "https":
            abort(403, "Open this page with https.")
        if request.method not in {"GET", "HEAD", "OPTIONS"} and not _from_own_page():
            abort(403, "This request was not sent from a page of this dashboard.")

    app.server.before_request(gate)


def check_shape(app: Dash) -> None:
    """Refuse requests that name no known callback, or not with its own inputs."""

    def check() -> None:
        if request.path == CALLBACKS and not fits_a_callback(
            request.get_json(silent=True), app.callback_map
        ):
            abort(400, "This page is out of date. Reload it and try again.")

    app.server.before_request(check)


def is_own_host(host: str) -> bool:
    """Whether a `Host` header names this machine.

    Examples
    --------
    >>> is_own_host("localhost:8461"), is_own_host("[::1]:8461"), is_own_host("example.org")
    (True, True, False)
    """
    return names_host(host, OWN_NAMES)


def names_host(host: str, names: Collection[str]) -> bool:
    """Whether a `Host` header, with or without port, holds one of some names."""
    try:
        return urlsplit(f"//{host}").hostname in names
    except ValueError:
        return False


def _from_own_page() -> bool:
    site = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin")
    return site in {None, "same-origin", "none"} and origin in {None, request.host_url.rstrip("/")}


def fits_a_callback(body: object, known: Mapping[str, Mapping[str, Any]]) -> bool:
    """Whether a callback request names a registered output with its own inputs and states.

    Dash itself compares only how many there are.
    """
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        return False
    callback = known.get(body["output"])
    if callback is None:
        return False
    pairs = (("inputs", callback["inputs"]), ("state", callback["state"]))
    return all(_same_parts(body.get(name, []), wanted) for name, wanted in pairs)


def _same_parts(given: object, wanted: Sequence[Mapping[str, str]]) -> bool:
    if not isinstance(given, list) or len(given) != len(wanted):
        return False
    return all(_same_part(part, want) for part, want in zip(given, wanted, strict=True))


def _same_part(part: object, want: Mapping[str, str]) -> bool:
    pattern = _pattern(want["id"])
    if pattern is None:
        return (
            isinstance(part, dict)
            and part.get("id") == want["id"]
            and part.get("property") == want["property"]
        )
    parts = part if isinstance(part, list) else [part]
    return all(
        isinstance(p, dict)
        and isinstance(p.get("id"), dict)
        and p["id"].keys() == pattern.keys()
        and p["id"].get("type") == pattern.get("type")
        and p.get("property") == want["property"]
        for p in parts
    )


def _pattern(name: str) -> dict[str, Any] | None:
    return json.loads(name) if name.startswith("{") else None
