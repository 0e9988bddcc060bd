"""What do settings, unit, log rotation and proxy configuration of one server say?"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined


class Proxy(StrEnum):
    """The program that encrypts."""

    NGINX = "nginx"
    CADDY = "caddy"


NAMES: Mapping[Proxy, str] = {Proxy.NGINX: "nginx-linedays.conf", Proxy.CADDY: "Caddyfile"}
OF_ALL = (
    *("linedays.toml", "linedays.service", "logrotate-linedays"),
    *("linedays-backup.service", "linedays-backup.timer"),
)
"""Files with any proxy."""
_TEMPLATES = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "templates"),
    undefined=StrictUndefined,
    keep_trailing_newline=True,
    autoescape=False,  # noqa: S701 - no HTML: host names and paths are checked before
)


def setup_files(
    *, host: str, proxy: Proxy, program: Path, store: str, port: int, upload_mb: int
) -> dict[str, str]:
    """The files by name.

    Parameters
    ----------
    host : str
        Name under which browsers reach linedays.
    proxy : Proxy
        The program that encrypts.
    program : Path
        The installed `linedays`.
    store : str
        Store, as an SQLAlchemy URL.
    port : int
        Port on which the proxy reaches linedays on this machine.
    upload_mb : int
        Largest upload.

    Returns
    -------
    dict of str
        Text by file name: the settings, systemd units, log rotation, and the proxy's own file.
    """
    about = {
        "host": host,
        "proxy": proxy,
        "program": program,
        "store": store,
        "port": port,
        "upload_mb": upload_mb,
    }
    return {name: _TEMPLATES.get_template(name).render(about) for name in (*OF_ALL, NAMES[proxy])}
