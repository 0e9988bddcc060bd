"""Which account of this machine opened a connection on loopback?

A browser sends the cookies of a server to every port of the machine, so a program of another account
that listens there may read them. Where nothing is encrypted, a sign-in holds for the account that
began it: the system knows whose each connection is, and nobody can state another.
"""

from __future__ import annotations

import ipaddress
import struct
from collections.abc import Iterable
from pathlib import Path

CONNECTIONS = (Path("/proc/net/tcp"), Path("/proc/net/tcp6"))
"""Linux: every connection with the account that holds it. *Source:* proc(5), ``/proc/net/tcp``."""
STATED = "LINEDAYS_ACCOUNT"
"""Header under which the server passes the account on; what a client states is replaced."""
IN_REQUEST = f"HTTP_{STATED}"


def account_of(client: tuple[str, int], server: tuple[str, int]) -> str:
    """Number of the account that opened a connection.

    Parameters
    ----------
    client, server : tuple of str and int
        Address and port of either end.

    Returns
    -------
    str
        Blank where the client is not on this machine or the system does not tell.
    """
    if not ipaddress.ip_address(client[0]).is_loopback:
        return ""
    mine, its = _end(*client), _end(*server)
    for connection in _connections():
        if connection[1:3] == [mine, its]:
            return connection[7]
    return ""


def _connections() -> Iterable[list[str]]:
    for file in CONNECTIONS:
        try:
            yield from (line.split() for line in file.read_text().splitlines()[1:])
        except OSError:  # another system, or it does not tell
            continue


def _end(address: str, port: int) -> str:
    """An end of a connection as Linux writes it: words of four bytes in the machine's order.

    Examples
    --------
    >>> _end("127.0.0.1", 8461)[-5:]
    ':210D'
    """
    packed = ipaddress.ip_address(address).packed
    words = struct.unpack(f"={len(packed) // 4}I", packed)
    return "".join(f"{word:08X}" for word in words) + f":{port:04X}"
