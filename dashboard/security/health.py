"""Is this server alive, can it answer, and how busy is it? Nothing here is about a family."""

from __future__ import annotations

from dash import Dash
from flask import Response, abort, request

from dashboard.measured import Measured
from dashboard.session.service import Service
from dashboard.settings import is_loopback, within

HEALTH = "/health"
READY = "/ready"
METRICS = "/metrics"
TEXT = "text/plain; version=0.0.4; charset=utf-8"


def answer_health(app: Dash, service: Service, measured: Measured) -> None:
    """Register the routes.

    `/health`: the process answers. `/ready`: the store can be read too, else 503. `/metrics`: counts
    in the Prometheus text format, for this machine and the addresses of the settings.
    """
    web = service.config.web

    def health() -> Response:
        return Response("alive\n", mimetype="text/plain")

    def ready() -> Response:
        if service.sign_in_counts() is None:
            return Response("the store cannot be read\n", 503, mimetype="text/plain")
        return Response("ready\n", mimetype="text/plain")

    def metrics() -> Response:
        asks = request.remote_addr or ""
        if not is_loopback(asks) and not within(asks, web.metrics):
            abort(403, "Metrics are for the machines that the settings name.")
        return Response(measured.text(service), content_type=TEXT)

    for path, answer in ((HEALTH, health), (READY, ready), (METRICS, metrics)):
        app.server.add_url_rule(path, path, answer)
