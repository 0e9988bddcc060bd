"""How do several processes serve one dashboard, so that more than one core answers?

Python runs one thread of a process at a time, and drawing a page is work, not waiting. So the
dashboard is made once and then forked: secrets, figures and rows are shared, and each process
asks the store whether anything has changed. On a new day, or after more was stored than a process
adds to its rows, the program reads everything once and replaces the processes by new forks, so
that two snapshots are in memory at most, and one afterwards. gunicorn makes a new process where one
has ended, and ends all of them together. In each, waitress receives and answers; with a certificate
it is gunicorn's own worker, because waitress does not encrypt.
"""

from __future__ import annotations

import gc
import os
import socket
import sys
from typing import TYPE_CHECKING, Any

from dashboard.receiving import IDLE_SECONDS, LAST_ANSWERS_SECONDS, Admits

if TYPE_CHECKING:
    from dashboard.app import LinedaysDash
    from dashboard.config import Web

MOST_BY_DEFAULT = 4
"""More take memory that other programs of a small machine need."""
CAN_FORK = hasattr(os, "fork")

PATIENCE_SECONDS = 120
"""A process that shows no life for so long is replaced: longer than any look at a large store."""
THREADS_ENCRYPTING = 64
"""Each holds a connection until its request is whole, so that slow ones must not use up all."""


def by_default() -> int:
    """How many processes serve by default: one a core, at most `MOST_BY_DEFAULT`.

    macOS forbids what its own libraries do after a fork, so there it is one.
    """
    if not CAN_FORK or sys.platform == "darwin":
        return 1
    return min(_cores(), MOST_BY_DEFAULT)


def _cores() -> int:
    """Cores that this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def serve_in_processes(
    application: LinedaysDash,
    listening: socket.socket,
    processes: int,
    threads: int,
    web: Web,
    admits: Admits,
) -> None:
    """Answer on a bound socket until the program is stopped; returns then.

    Parameters
    ----------
    application : LinedaysDash
        Made already. It must hold no connection to a database: none may be used on both sides
        of a fork.
    listening : socket
        Bound to the address.
    processes, threads : int
        How many processes, and how many threads in each.
    web : Web
        With a certificate it is encrypted here.
    admits : callable
        See `receiving.Admits`.
    """
    from dashboard.workers import Encrypting, Program, Receiving, Together

    own: dict[str, Any] = {"worker_class": Receiving, "threads": threads}
    if web.certificate is not None:
        own = {
            "worker_class": Encrypting,
            "threads": THREADS_ENCRYPTING,
            "certfile": str(web.certificate),
            "keyfile": str(web.key),
        }
    gc.collect()
    gc.freeze()  # what is there now stays shared: no collection in a fork writes to it
    arbiter = Together(Program(application, {**_settings(listening, processes), **own}, admits))
    try:
        arbiter.run()
    except SystemExit as ended:
        if ended.code or os.getpid() != arbiter.pid:  # a process of its own ends with its own code
            raise


def _settings(listening: socket.socket, processes: int) -> dict[str, Any]:
    return {
        "bind": f"fd://{os.dup(listening.fileno())}",
        "workers": processes,
        "preload_app": True,
        "timeout": PATIENCE_SECONDS,
        "graceful_timeout": LAST_ANSWERS_SECONDS,
        "keepalive": IDLE_SECONDS,
        "loglevel": "error",
        "accesslog": None,
        "forwarded_allow_ips": "",  # no proxy is in front that could vouch for another address
        "proxy_allow_ips": "",
        "control_socket_disable": True,
    }
