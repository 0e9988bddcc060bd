"""How does one of several processes receive requests and answer, and who replaces it?

The classes are gunicorn's: it starts, watches and ends the processes.
"""

from __future__ import annotations

import gc
import logging
import os
import signal
import socket
import time
from collections.abc import Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from gunicorn.app.base import BaseApplication
from gunicorn.arbiter import Arbiter
from gunicorn.workers.base import Worker
from gunicorn.workers.gthread import ThreadWorker

from analysis.errors import UserError
from dashboard.connections import Connections
from dashboard.receiving import (
    LAST_ANSWERS_SECONDS,
    MOST_BYTES,
    REQUEST_SECONDS,
    Admits,
    Server,
)

if TYPE_CHECKING:
    from flask import Flask

    from dashboard.app import LinedaysDash

log = logging.getLogger("linedays")

UPLOAD_SECONDS = 600
"""How long a whole request may last where files are imported."""
LINGER_SECONDS = 1.0
"""How long a process that ends still reads its connections: a request may be on its way."""
RENEWS = signal.SIGUSR1
"""How a process asks the program for forks that share what has changed."""


class Program(BaseApplication):  # type: ignore[misc]
    """The dashboard and how it is served; no file and no variable of the system has a say."""

    def __init__(
        self, dashboard: LinedaysDash, settings: Mapping[str, Any], admits: Admits
    ) -> None:
        self.dashboard = dashboard
        self.admits = admits
        self.finds_accounts = not dashboard.service.config.web.encrypted
        self.connections = Connections()
        self._settings = settings
        super().__init__()

    def load_config(self) -> None:
        """Take the settings over."""
        own = {"post_fork": self._share, "child_exit": self._forget}
        for name, value in {**self._settings, **own}.items():
            self.cfg.set(name, value)

    def load(self) -> Flask:
        """The application, made already."""
        return self.dashboard.server

    def _share(self, arbiter: Arbiter, worker: Worker) -> None:  # noqa: ARG002 - gunicorn's
        program = arbiter.pid
        self.dashboard.service.share(lambda: os.kill(program, RENEWS))

    def _forget(self, arbiter: Arbiter, worker: Worker) -> None:  # noqa: ARG002 - gunicorn's
        self.connections.of(worker.age).leave()


class Together(Arbiter):  # type: ignore[misc]
    """Ends all processes when its terminal is closed, and replaces them when much has changed."""

    SIGNALS = (signal.SIGHUP, signal.SIGQUIT, signal.SIGINT, signal.SIGTERM, RENEWS)

    def __init__(self, program: Program) -> None:
        self._service = program.dashboard.service
        self._day = self._service.as_of()
        super().__init__(program)

    def handle_hup(self) -> None:
        """End all processes."""
        self.handle_term()

    def handle_usr1(self) -> None:
        """Read once for all processes what has changed, and replace them by forks that share it."""
        gc.unfreeze()
        try:
            changed = self.app.dashboard.warm_up()
        except UserError as fault:  # the processes report it to who asks
            log.warning("what has changed cannot be read: %s", fault)
            changed = False
        gc.collect()
        gc.freeze()
        for _ in range(self.num_workers if changed else 0):
            self.spawn_worker()  # the earlier ones end when they have answered

    def manage_workers(self) -> None:
        """Replace processes that have ended, and all of them on a new day."""
        today = self._service.as_of()
        if today != self._day:
            self._day = today
            self.handle_usr1()
        super().manage_workers()


class Receiving(Worker):  # type: ignore[misc]
    """A process in which waitress receives and answers."""

    def run(self) -> None:
        """Answer until the program stops or replaces this process, then finish what is under way.

        A program that stops ends its processes after `LAST_ANSWERS_SECONDS`; one that replaces them
        leaves an upload its time.
        """
        held = self.app.connections.of(self.age)
        server = Server(
            self.wsgi,
            self.sockets[0].sock,
            self.cfg.threads,
            self.app.admits,
            finds_accounts=self.app.finds_accounts,
            held=held,
        )
        while self.alive and os.getppid() == self.ppid:
            self.notify()
            server.answer_for(1.0)
        server.accepting = False
        held.leave()
        has_program = os.getppid() == self.ppid
        ended = time.monotonic()
        until = ended + (UPLOAD_SECONDS if has_program else LAST_ANSWERS_SECONDS)
        lingers = ended + LINGER_SECONDS
        while (now := time.monotonic()) < lingers or (now < until and server.is_answering()):
            self.notify()
            server.answer_for(0.1)
        server.task_dispatcher.shutdown(cancel_pending=True, timeout=1)


class Encrypting(ThreadWorker):  # type: ignore[misc]
    """A process that encrypts; a connection whose request is late is closed.

    Its threads read what clients send, so that a slow client holds a thread for a while.
    """

    def init_process(self) -> None:
        """Begin to answer."""
        self.late_at: dict[Any, float] = {}
        super().init_process()

    def handle(self, conn: Any) -> Any:
        """Read a request and answer it."""
        self.late_at[conn] = time.monotonic() + REQUEST_SECONDS
        try:
            return super().handle(conn)
        finally:
            self.late_at.pop(conn, None)

    def handle_request(self, req: Any, conn: Any, *more: Any) -> Any:
        """Answer a request whose head was read."""
        cookies = next((value for name, value in req.headers if name == "COOKIE"), "")
        imports = self.app.admits(req.path, cookies, "") > MOST_BYTES
        self.late_at[conn] = time.monotonic() + (UPLOAD_SECONDS if imports else 2 * REQUEST_SECONDS)
        return super().handle_request(req, conn, *more)

    def murder_pending(self) -> None:
        """Close connections that are late; called about once a second."""
        super().murder_pending()
        now = time.monotonic()
        for conn in [conn for conn, late in self.late_at.copy().items() if late < now]:
            with suppress(OSError):
                conn.sock.shutdown(socket.SHUT_RDWR)
