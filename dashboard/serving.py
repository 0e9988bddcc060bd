"""How is the dashboard put on this machine's own address, and on no other?"""

from __future__ import annotations

import ipaddress
import logging
import os
import socket

from waitress.server import create_server

from dashboard.app import create_app
from dashboard.config import DashboardConfig

THREADS = 8


NOBODY = (
    "Nobody can sign in to this store yet. Add a person first, for example: "
    "linedays user add N1 --role manager"
)


class ServeError(OSError):
    """The dashboard cannot be served; one sentence for a user."""


def serve(config: DashboardConfig, host: str = "127.0.0.1", port: int = 8461) -> None:
    """Serve the dashboard until the process is stopped.

    Parameters
    ----------
    config : DashboardConfig
        Store, policy and day.
    host : str
        A loopback address. Passwords would travel unencrypted to any other, so it is refused.
    port : int
        Port to listen on.

    Raises
    ------
    ServeError
        The address is not this machine's own, nobody can sign in, or the port is taken.
    StoreError, PolicyError
        The store or the policy cannot be read.
    """
    if not is_loopback(host):
        raise ServeError(
            f"{host} can be reached from other machines, and passwords would travel there "
            "unencrypted: serve it on 127.0.0.1 and let people use it on this machine."
        )
    with _listening(host, port) as listening:
        app = create_app(config)
        if not config.demo and not app.entrance.has_users():
            app.entrance.close()
            raise ServeError(NOBODY)
        server = create_server(app.server, sockets=[listening], threads=THREADS, ident=None)
        # A question that waits a moment is no news to whoever keeps the terminal open.
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        name = f"[{host}]" if ":" in host else host
        print(f"linedays: open http://{name}:{port} in a browser; stop with Ctrl+C.")  # noqa: T201
        try:
            server.run()
        finally:
            server.close()


def _listening(host: str, port: int) -> socket.socket:
    """A socket bound to the address, opened before the store is read."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere it would let another program take the port as well
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
    except OSError as fault:
        listening.close()
        raise ServeError(
            f"Port {port} on {host} cannot be opened ({fault.strerror or 'in use'}): "
            "another program may use it. Name another with --port."
        ) from None
    return listening


def is_loopback(host: str) -> bool:
    """Whether an address is this machine's own.

    Examples
    --------
    >>> is_loopback("localhost"), is_loopback("::1"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
