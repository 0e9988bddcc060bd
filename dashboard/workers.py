"""How does one of several processes receive requests and answer, with and without a certificate?

The classes are gunicorn's workers: it starts, watches and ends the processes.
"""

from __future__ import annotations

import os
import socket
import time
from contextlib import suppress
from typing import Any

from gunicorn.workers.base import Worker
from gunicorn.workers.gthread import ThreadWorker

from dashboard.receiving import LAST_ANSWERS_SECONDS, MOST_BYTES, REQUEST_SECONDS, Server

UPLOAD_SECONDS = 600
"""How long a whole request may last where files are imported."""


class Receiving(Worker):  # type: ignore[misc]
    """A process in which waitress receives and answers."""

    def run(self) -> None:
        """Answer until the program is stopped, then finish what is under way."""
        server = Server(self.wsgi, self.sockets[0].sock, self.cfg.threads, self.app.admits)
        while self.alive and os.getppid() == self.ppid:
            self.notify()
            server.answer_for(1.0)
        server.accepting = False
        until = time.monotonic() + LAST_ANSWERS_SECONDS
        while time.monotonic() < until and server.is_answering():
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
        imports = self.app.admits(req.path, cookies) > MOST_BYTES
        self.late_at[conn] = time.monotonic() + (UPLOAD_SECONDS if imports else 2 * REQUEST_SECONDS)
        return super().handle_request(req, conn, *more)

    def murder_pending(self) -> None:
        """Close connections that are late; called about once a second."""
        super().murder_pending()
        now = time.monotonic()
        for conn in [conn for conn, late in self.late_at.copy().items() if late < now]:
            with suppress(OSError):
                conn.sock.shutdown(socket.SHUT_RDWR)
