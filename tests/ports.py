"""Ports that no other program uses, so that tests run next to a served dashboard."""

import socket


def free_port() -> int:
    """A port of this machine that is free at the moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
