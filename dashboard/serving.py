"""How is the dashboard put on an address: this machine's own, or where its settings name one?"""

from __future__ import annotations

import logging
import os
import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from io import TextIOWrapper
from logging.handlers import WatchedFileHandler
from pathlib import Path

from werkzeug.http import parse_cookie

from analysis.errors import UserError
from dashboard.app import LinedaysDash, create_app
from dashboard.config import DashboardConfig, Web
from dashboard.processes import CAN_FORK, by_default, serve_in_processes
from dashboard.receiving import MOST_BYTES, Admits, Server
from dashboard.security.cookies import CookieNames
from dashboard.security.roles import FILES, Right
from dashboard.settings import checked

TIMES_THE_MOST = 4
"""A longer upload than allowed is still received up to here, to be answered with a sentence."""
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
    processes: int | None = None,
) -> None:
    """Serve the dashboard until the program is stopped.

    Parameters
    ----------
    config : DashboardConfig
        Store, policy, day and where browsers reach it.
    processes : int, optional
        How many processes answer; None: as many as this machine is good for.

    Raises
    ------
    ServeError
        Nobody can sign in, the port is taken, the certificate cannot be used, or several processes
        are asked for where there can be only one.
    SettingsError
        Passwords would travel unencrypted.
    StoreError, PolicyError
        The store or the policy cannot be read.
    """
    web = checked(config.web, "settings")
    n_processes = by_default() if processes is None else processes
    if n_processes > 1 and not CAN_FORK:
        raise ServeError("This system serves with one process alone: leave --processes out.")
    _check_certificate(web)
    with _listening(web.address, web.port) as listening:
        app = create_app(replace(config, port=listening.getsockname()[1]))
        if not config.demo and not app.service.has_users():
            app.service.close()
            raise ServeError(NOBODY)
        app.warm_up()
        message = f"linedays: open {_address(web)} in a browser; stop with Ctrl+C."
        print(message, flush=True)  # noqa: T201 - flushed: each fork would print its buffer again
        with _log(web.log):
            if n_processes > 1 or web.certificate is not None:
                serve_in_processes(app, listening, n_processes, THREADS, web, _admits(app, config))
            else:
                _serve_in_this_process(app, listening, _admits(app, config))


def _admits(app: LinedaysDash, config: DashboardConfig) -> Admits:
    """How long a body may be: files only from a signed-in person who may import them."""
    service = app.service
    name = CookieNames.of(service.config).sign_in

    def most(path: str, cookies: str, account: str) -> int:
        if path != FILES:
            return MOST_BYTES
        token = parse_cookie(cookies).get(name)
        reader = service.reader_of(token, account, uses=False)
        if reader is None or not reader.may(Right.BRING_FILES):
            return MOST_BYTES
        return TIMES_THE_MOST * config.most_upload_bytes

    return most


def _check_certificate(web: Web) -> None:
    if web.certificate is None:
        return
    if not CAN_FORK:
        raise ServeError("This system cannot encrypt by itself: let a proxy do it.")
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(
            web.certificate, web.key
        )
    except (OSError, ssl.SSLError) as fault:
        raise ServeError(
            f"The certificate {web.certificate} and its key {web.key} cannot be used: "
            f"{fault.strerror or fault}."
        ) from None


def _address(web: Web) -> str:
    if web.hosts:
        port = f":{web.port}" if web.certificate and web.port != 443 else ""
        return f"https://{web.hosts[0]}{port}"
    name = f"[{web.address}]" if ":" in web.address else web.address
    return f"http://{name}:{web.port}"


class _Log(WatchedFileHandler):
    """A log file for its owner alone; one that was moved away by a rotation is begun again."""

    def _open(self) -> TextIOWrapper:
        return open(
            self.baseFilename,
            "a",
            encoding="utf-8",
            opener=lambda path, flags: os.open(path, flags, 0o600),
        )


@contextmanager
def _log(file: Path | None) -> Iterator[None]:
    """Write the program's log into a file until the block ends; None: to the terminal."""
    if file is None:
        yield
        return
    log = logging.getLogger("linedays")
    try:
        handler = _Log(file)
    except OSError as fault:
        raise ServeError(f"The log {file} cannot be written: {fault.strerror}.") from None
    handler.setFormatter(logging.Formatter("%(asctime)s %(process)d %(levelname)s %(message)s"))
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.info("started")
    try:
        yield
    finally:
        log.info("stopped")
        log.removeHandler(handler)
        handler.close()


def _serve_in_this_process(app: LinedaysDash, listening: socket.socket, admits: Admits) -> None:
    finds_accounts = not app.service.config.web.encrypted
    server = Server(app.server, listening, THREADS, admits, finds_accounts=finds_accounts)
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
