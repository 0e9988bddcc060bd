"""Who is the client, where requests come through a proxy that encrypts?

Only what a named proxy states counts: its `X-Forwarded-For` and `X-Forwarded-Proto`. Anybody else
could write what they like there, so from others these headers are removed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from werkzeug.middleware.proxy_fix import ProxyFix

from dashboard.config import Web
from dashboard.settings import within

WsgiApp = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
STATED = "HTTP_X_FORWARDED_"


def behind_proxies(app: WsgiApp, web: Web) -> WsgiApp:
    """The application as it answers behind the named proxies; without any, as it is."""
    trusting = ProxyFix(app, x_for=1, x_proto=1)  # the newest entry is the proxy's own

    def answer(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        if within(environ.get("REMOTE_ADDR", ""), web.proxies):
            return trusting(environ, start)
        for name in [name for name in environ if name.startswith(STATED)]:
            del environ[name]
        return app(environ, start)

    return answer
