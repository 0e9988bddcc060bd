"""A waitress server that runs in a thread of its own until a block ends."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from waitress import wasyncore
from waitress.server import BaseWSGIServer

LAST_ANSWERS_SECONDS = 60
"""How long answers under way may take at the end."""


@contextmanager
def in_background(server: BaseWSGIServer) -> Iterator[None]:
    """Answer until the block ends.

    Sockets are closed when no thread waits on them any more. waitress's own way, a call handed to the
    thread that waits, may run before the byte is written that wakes this thread: then that byte goes
    to a closed pipe, or to whatever has its number by then.
    """
    ended = threading.Event()

    def answer() -> None:
        while not ended.is_set():
            server.asyncore.loop(1, server.adj.asyncore_use_poll, server._map, count=1)

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        yield
    finally:
        server.task_dispatcher.shutdown(timeout=LAST_ANSWERS_SECONDS)
        ended.set()
        server.pull_trigger()
        thread.join()
        wasyncore.close_all(server._map, ignore_all=True)
