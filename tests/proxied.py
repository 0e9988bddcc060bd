"""linedays behind a proxy that encrypts, both set up with the files that the program writes."""

from __future__ import annotations

import http.client
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import trustme

from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.receiving import Server
from dashboard.serving import _admits
from dashboard.settings import read_settings
from dashboard.setup import Proxy, setup_files
from dashboard.setup.files import NAMES
from tests.background import in_background
from tests.ports import free_port

HOST = "linedays.example.org"
PROXIES = Path(sys.prefix) / "proxies"
PATIENCE_SECONDS = 30


@dataclass(frozen=True)
class Proxied:
    """A dashboard behind a proxy."""

    port: int
    """Of the proxy, encrypted."""
    plain_port: int
    """Of the proxy, unencrypted."""
    own_port: int
    """Of linedays itself."""
    trust: ssl.SSLContext
    app: object

    @property
    def address(self) -> str:
        return f"https://{HOST}:{self.port}"

    def ask(self, how: str, path: str, *, body: bytes = b"", come_from: str = "127.0.0.1", **heads):
        """Send one encrypted request; returns the answer, its body read."""
        raw = socket.create_connection(("127.0.0.1", self.port), 30, (come_from, 0))
        with self.trust.wrap_socket(raw, server_hostname=HOST) as encrypted:
            return self._send(encrypted, how, path, body, {"Host": f"{HOST}:{self.port}", **heads})

    def ask_unencrypted(self, path: str):
        """Ask the proxy, unencrypted."""
        with socket.create_connection(("127.0.0.1", self.plain_port), 30) as plain:
            return self._send(plain, "GET", path, b"", {"Host": HOST})

    def ask_past_the_proxy(self, path: str, *, come_from: str = "127.0.0.1", **heads):
        """Ask linedays itself, unencrypted."""
        with socket.create_connection(("127.0.0.1", self.own_port), 30, (come_from, 0)) as plain:
            return self._send(plain, "GET", path, b"", {"Host": HOST, **heads})

    def _send(self, connected, how, path, body, heads):
        connection = http.client.HTTPConnection(HOST)
        connection.sock = connected
        connection.request(how, path, body, {"Connection": "close", **heads})
        answer = connection.getresponse()
        answer.text = answer.read().decode(errors="replace")
        return answer


@contextmanager
def in_thread(config: DashboardConfig) -> Iterator[object]:
    """Serve a dashboard on the address and port of its settings, with its limits."""
    with socket.create_server((config.web.address, config.web.port)) as listening:
        app = create_app(config)
        server = Server(
            app.server,
            listening,
            4,
            _admits(app, config),
            finds_accounts=not config.web.encrypted,
            outbuf_overflow=64 << 20,
        )
        try:
            with in_background(server):
                yield app
        finally:
            app.service.close()


@contextmanager
def proxied(store_url: str, folder: Path, proxy: Proxy, **settings) -> Iterator[Proxied]:
    """Serve a store behind a proxy until the block ends; only ports and places are of the test."""
    own, secure, plain = free_port(), free_port(), free_port()
    written = setup_files(
        host=HOST, proxy=proxy, program=Path("linedays"), store=store_url, port=own, upload_mb=1
    )
    authority = trustme.CA()
    made = authority.issue_cert(HOST)
    made.cert_chain_pems[0].write_to_path(folder / "tls.crt")
    made.private_key_pem.write_to_path(folder / "tls.key")
    trust = ssl.create_default_context()
    authority.configure_trust(trust)
    (folder / "linedays.toml").write_text(
        written["linedays.toml"].replace("/var/log/linedays", str(folder))
    )
    found = read_settings(folder / "linedays.toml")
    config = DashboardConfig(
        store_url=found.store, port=own, web=found.web, most_upload_bytes=1_000_000, **settings
    )
    text = written[NAMES[proxy]].replace("/etc/linedays", str(folder))
    with in_thread(config) as app, _running(proxy, text, folder, secure, plain):
        yield Proxied(secure, plain, own, trust, app)


@contextmanager
def _running(proxy: Proxy, text: str, folder: Path, secure: int, plain: int) -> Iterator[None]:
    if proxy is Proxy.NGINX:
        text = text.replace("listen 443", f"listen {secure}").replace(
            "listen 80", f"listen {plain}"
        )
        places = "".join(
            f"{name}_temp_path {folder / name};\n"
            for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        places += f"access_log {folder / 'requests.log'};\n"  # distributions set one for all sites
        around = (
            f"user root;\npid {folder / 'nginx.pid'};\nevents {{}}\nhttp {{\n{places}{text}}}\n"
        )
        command = ["usr/sbin/nginx", "-e", "stderr", "-g", "daemon off;", "-c"]
    else:
        options = f"{{\n\tadmin off\n\thttp_port {plain}\n\thttps_port {secure}\n}}\n"
        around = options + text
        command = ["usr/bin/caddy", "run", "--adapter", "caddyfile", "--config"]
    file = folder / "proxy.conf"
    file.write_text(around)
    words = [str(PROXIES / command[0]), *command[1:], str(file)]
    with (folder / "proxy.log").open("w") as log:
        program = subprocess.Popen(
            words, stdout=log, stderr=log, env={"HOME": str(folder), "PATH": "/usr/bin"}
        )
    try:
        until = time.monotonic() + PATIENCE_SECONDS
        while True:
            assert program.poll() is None, (folder / "proxy.log").read_text()
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", secure)) == 0:
                    break
            assert time.monotonic() < until, (folder / "proxy.log").read_text()
            time.sleep(0.05)
        yield
    finally:
        program.terminate()
        program.wait(timeout=30)
