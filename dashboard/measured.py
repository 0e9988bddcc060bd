"""How many requests were answered, how, and how long did they take? Counted over all processes.

The counts lie in memory that a fork shares, so that each process adds to the same and each can
report all. They hold no path, code or address.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any

from dash import Dash
from flask import Response, g, request

if TYPE_CHECKING:
    from prometheus_client import Metric

    from dashboard.session.service import Service

KINDS = ("page", "callback", "file", "form")
STATUSES = ("2xx", "3xx", "4xx", "5xx")
BOUNDS = (0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)
"""Seconds of the histogram's classes; the last class has no bound."""


class Measured:
    """Counts of answered requests; made before the processes are forked."""

    def __init__(self) -> None:
        # The other ways to start a process would start a helper process here.
        context = get_context("fork" if hasattr(os, "fork") else None)
        self._requests = context.Array("Q", len(KINDS) * len(STATUSES))
        self._classes = context.Array("Q", len(BOUNDS) + 1)
        self._seconds = context.Value("d", 0.0)
        self._began = time.time()

    def count(self, app: Dash) -> None:
        """Count every answer of an application from now on."""

        def begin() -> None:
            g.began = time.perf_counter()

        def end(response: Response) -> Response:
            self.add(_kind(), response.status_code, time.perf_counter() - g.get("began", 0.0))
            return response

        app.server.before_request(begin)
        app.server.after_request(end)

    def add(self, kind: str, status: int, seconds: float) -> None:
        """Count an answer."""
        place = KINDS.index(kind) * len(STATUSES) + min(max(status // 100, 2), 5) - 2
        with self._requests.get_lock():
            self._requests[place] += 1
            self._classes[sum(seconds > bound for bound in BOUNDS)] += 1
            self._seconds.value += seconds

    def text(self, service: Service) -> bytes:
        """The counts and the state of the store in the Prometheus text format."""
        from prometheus_client import CollectorRegistry, generate_latest

        registry = CollectorRegistry()
        registry.register(_Collected(self, service))
        return generate_latest(registry)

    def metrics(self, service: Service) -> Iterator[Metric]:
        """The counts and the state of the store."""
        from prometheus_client.core import (
            CounterMetricFamily,
            GaugeMetricFamily,
            HistogramMetricFamily,
        )

        with self._requests.get_lock():
            requests, classes = self._requests[:], self._classes[:]
            seconds = self._seconds.value
        answered = CounterMetricFamily(
            "linedays_requests", "Requests answered", labels=["kind", "status"]
        )
        for place, number in enumerate(requests):
            kind, status = divmod(place, len(STATUSES))
            answered.add_metric([KINDS[kind], STATUSES[status]], number)
        yield answered
        names = [*map(str, BOUNDS), "+Inf"]
        up_to = [sum(classes[: place + 1]) for place in range(len(names))]
        yield HistogramMetricFamily(
            "linedays_request_seconds",
            "Time to answer a request",
            buckets=list(zip(names, up_to, strict=True)),
            sum_value=seconds,
        )
        yield GaugeMetricFamily("linedays_started_seconds", "Start, Unix time", value=self._began)
        counts = service.sign_in_counts()
        ready = "1: the store can be read"
        yield GaugeMetricFamily("linedays_store_ready", ready, value=int(counts is not None))
        if counts is not None:
            about = ("Open sign-ins", "Refused tries to sign in, last day")
            yield GaugeMetricFamily("linedays_open_sign_ins", about[0], value=counts[0])
            yield GaugeMetricFamily("linedays_refused_sign_ins", about[1], value=counts[1])


class _Collected:
    def __init__(self, measured: Measured, service: Service) -> None:
        self._measured, self._service = measured, service

    def collect(self) -> Iterator[Any]:
        """What the library asks a collector for."""
        return self._measured.metrics(self._service)


def _kind() -> str:
    if request.path == "/_dash-update-component":
        return "callback"
    if request.path.startswith(("/_", "/assets/")):
        return "file"
    return "page" if request.method in {"GET", "HEAD"} else "form"
