"""How is the dashboard put on this machine's own address, and on no other?"""

from __future__ import annotations

import ipaddress
import logging
import os
import socket
from dataclasses import replace

from waitress.server import create_server

from analysis.errors import UserError
from dashboard.app import LinedaysDash, create_app
from dashboard.config import DashboardConfig
from dashboard.processes import CAN_FORK, by_default, serve_in_processes

THREADS = 8
"""In each process: most wait for the store or the network while one draws."""

NOBODY = (
    "Nobody can sign in to this store yet. Add a person first, for example: "
    "linedays user add N1 --role manager"
)


class ServeError(UserError):
    """The dashboard cannot be served; one sentence for a user."""


def serve(
    config: DashboardConfig,
    host: str = "127.0.0.1",
    port: int = 8461,
    processes: int | None = None,
) -> None:
    """Serve the dashboard until the program is stopped.

    Parameters
    ----------
    config : DashboardConfig
        Store, policy and day.
    host : str
        A loopback address. Passwords would travel unencrypted to any other, so it is refused.
    port : int
        Port to listen on.
    processes : int, optional
        How many processes answer; None: as many as this machine is good for.

    Raises
    ------
    ServeError
        The address is not this machine's own, nobody can sign in, the port is taken, or several
        processes are asked for where there can be only one.
    StoreError, PolicyError
        The store or the policy cannot be read.
    """
    if not is_loopback(host):
        raise ServeError(
            f"{host} can be reached from other machines, and passwords would travel there "
            "unencrypted: serve it on 127.0.0.1 and let people use it on this machine."
        )
    n_processes = by_default() if processes is None else processes
    if n_processes > 1 and not CAN_FORK:
        raise ServeError("This system serves with one process alone: leave --processes out.")
    with _listening(host, port) as listening:
        app = create_app(replace(config, port=listening.getsockname()[1]))
        if not config.demo and not app.service.has_users():
            app.service.close()
            raise ServeError(NOBODY)
        app.warm_up()
        name = f"[{host}]" if ":" in host else host
        message = f"linedays: open http://{name}:{port} in a browser; stop with Ctrl+C."
        print(message, flush=True)  # noqa: T201 - flushed: each fork would print its buffer again
        if n_processes > 1:
            serve_in_processes(app.server, listening, n_processes, THREADS)
        else:
            _serve_in_this_process(app, listening)


def _serve_in_this_process(app: LinedaysDash, listening: socket.socket) -> None:
    server = create_server(app.server, sockets=[listening], threads=THREADS, ident=None)
    # A short wait of a request is not worth a line on the terminal.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    try:
        server.run()
    finally:
        server.close()
        app.service.close()


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
