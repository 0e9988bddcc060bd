"""How much may somebody send, and how slowly, before the server lets go of the connection?

waitress receives requests without a thread for each, so that half-sent ones hold nobody up. What is
added here: a body longer than any form is received only where files are imported and only from a
person who may; and a request that is not whole after a while is given up.
"""

from __future__ import annotations

import copy
import logging
import select
import socket
import time
from collections.abc import Callable
from typing import Any

from flask import Flask
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import TcpWSGIServer

from dashboard.connections import Connections, Held
from dashboard.machine_account import STATED, account_of

MOST_BYTES = 1_000_000
"""Longest body received from anybody: the longest form is far shorter."""
MOST_HEADER_BYTES = 65_536
REQUEST_SECONDS = 30
"""A request that is not whole by then is given up, later by its size where files are imported."""
SLOWEST_BYTES_PER_SECOND = 50_000
IDLE_SECONDS = 75
"""How long a browser's connection is kept open for its next request."""
MOST_CONNECTIONS = 1_000
LEFT_SECONDS, LOOKS = 0.02, 10
"""How long a new connection is left to a process that holds fewer, and how often it is checked."""
LAST_ANSWERS_SECONDS = 10
"""How long answers under way may take after the program was asked to stop."""

Admits = Callable[[str, str, str], int]
"""How long a body may be at most: of a path, the `Cookie` header and the client's account."""


class _Parser(HTTPRequestParser):  # type: ignore[misc]
    """A request that is being received."""

    adj: Any

    def __init__(self, adj: Any) -> None:
        super().__init__(adj)
        self.given_up_at = time.monotonic() + REQUEST_SECONDS

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        self.headers[STATED] = self.adj.account
        if self.chunked or self.content_length > 0:
            most = self.adj.admits(self.path, self.headers.get("COOKIE", ""), self.adj.account)
            self.adj = copy.copy(self.adj)
            self.adj.max_request_body_size = most + 1
            if self.content_length <= most:
                self.given_up_at += self.content_length / SLOWEST_BYTES_PER_SECOND


class _Channel(HTTPChannel):  # type: ignore[misc]
    parser_class = _Parser

    def __init__(self, server: Any, sock: socket.socket, addr: Any, adj: Any, **more: Any) -> None:
        adj = copy.copy(adj)
        adj.account = account_of(addr[:2], sock.getsockname()[:2]) if adj.finds_accounts else ""
        super().__init__(server, sock, addr, adj, **more)


class Server(TcpWSGIServer):  # type: ignore[misc]
    """waitress on a bound socket, with these limits."""

    channel_class = _Channel

    def __init__(
        self,
        application: Flask,
        listening: socket.socket,
        threads: int,
        admits: Admits,
        *,
        finds_accounts: bool,
        held: Held | None = None,
        **more: Any,
    ) -> None:
        self.held = held or Connections().of(0)
        settings = Adjustments(
            sockets=[listening],
            threads=threads,
            ident=None,
            connection_limit=MOST_CONNECTIONS,
            channel_timeout=IDLE_SECONDS,
            cleanup_interval=1,
            max_request_header_size=MOST_HEADER_BYTES,
            max_request_body_size=MOST_BYTES,
            asyncore_use_poll=True,
            clear_untrusted_proxy_headers=False,  # the application does, see `security.proxies`
            **more,
        )
        settings.admits, settings.finds_accounts = admits, finds_accounts
        # A short wait of a request is not worth a line on the terminal.
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        where = (listening.family, listening.type, listening.proto, listening.getsockname())
        super().__init__(
            application, _sock=listening, bind_socket=False, adj=settings, sockinfo=where
        )

    def readable(self) -> bool:
        """Whether new connections are taken."""
        if self.accepting:
            self.held.count(len(self.active_channels))
        return bool(super().readable())

    def handle_accept(self) -> None:
        """Take a new connection, unless a process that holds fewer takes it within a moment."""
        if not (self.held.another_has_fewer() and self._is_taken_elsewhere()):
            super().handle_accept()

    def _is_taken_elsewhere(self) -> bool:
        arrived = select.poll()
        arrived.register(self.socket, select.POLLIN)
        for _ in range(LOOKS):
            time.sleep(LEFT_SECONDS / LOOKS)
            if not arrived.poll(0):
                return True
        return False

    def maintenance(self, now: float) -> None:
        """Close idle connections, and those whose request is late."""
        super().maintenance(now)
        late = time.monotonic()
        for channel in self.active_channels.values():
            request = channel.request
            if request is not None and not channel.requests and request.given_up_at < late:
                channel.will_close = True

    def is_answering(self) -> bool:
        """Whether any request is being received or answered."""
        return any(
            channel.request is not None or channel.requests or channel.total_outbufs_len
            for channel in self.active_channels.values()
        )

    def answer_for(self, seconds: float) -> None:
        """Receive and answer for a while."""
        self.asyncore.loop(
            timeout=seconds, map=self._map, use_poll=self.adj.asyncore_use_poll, count=1
        )
