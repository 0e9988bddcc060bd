"""With a certificate and no proxy: encrypted, and slow connections do not stop the server."""

from __future__ import annotations

import multiprocessing
import os
import socket
import ssl
import time
from contextlib import ExitStack
from pathlib import Path

import pytest
import trustme

from dashboard import workers
from dashboard.config import DashboardConfig, Web
from dashboard.serving import ServeError, serve
from dashboard.settings import SettingsError
from tests.ports import free_port
from tests.signed_in import NOW, programme_file, store_url

__all__ = ["programme_file", "store_url"]

HOST = "linedays.example.org"
FORKS = multiprocessing.get_context("forkserver")
PATIENCE_SECONDS = 60


def run(url: str, web: Web, home: str) -> None:
    os.setpgrp()
    os.environ["HOME"] = home
    os.chdir(home)
    workers.REQUEST_SECONDS = 1
    serve(DashboardConfig(store_url=url, clock=lambda: NOW, web=web), processes=1)


@pytest.fixture
def certified(tmp_path: Path) -> tuple[Web, ssl.SSLContext]:
    """Settings with a certificate, and what trusts it."""
    authority = trustme.CA()
    made = authority.issue_cert(HOST)
    made.cert_chain_pems[0].write_to_path(tmp_path / "tls.crt")
    made.private_key_pem.write_to_path(tmp_path / "tls.key")
    trust = ssl.create_default_context()
    authority.configure_trust(trust)
    web = Web(
        port=free_port(),
        hosts=(HOST,),
        certificate=tmp_path / "tls.crt",
        key=tmp_path / "tls.key",
        log=tmp_path / "linedays.log",
    )
    return web, trust


def test_it_encrypts_and_outlives_half_sent_requests(store_url, certified, tmp_path):
    web, trust = certified
    program = FORKS.Process(target=run, args=(store_url, web, str(tmp_path)))
    program.start()
    try:
        until = time.monotonic() + PATIENCE_SECONDS
        while True:
            assert program.is_alive()
            assert time.monotonic() < until
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", web.port)) == 0:
                    break
            time.sleep(0.05)

        def ask(path: str) -> str:
            raw = socket.create_connection(("127.0.0.1", web.port), PATIENCE_SECONDS)
            with trust.wrap_socket(raw, server_hostname=HOST) as secure:
                head = (
                    f"GET {path} HTTP/1.1\r\nHost: {HOST}:{web.port}\r\nConnection: close\r\n\r\n"
                )
                secure.sendall(head.encode())
                return secure.makefile().read()

        page = ask("/sign-in")
        assert page.startswith("HTTP/1.1 200")
        assert "Strict-Transport-Security: max-age=" in page
        assert "__Host-linedays_session" in page
        with ExitStack() as opened:
            for number in range(80):
                half = socket.create_connection(("127.0.0.1", web.port), PATIENCE_SECONDS)
                opened.enter_context(half)
                half.sendall(b"\x16\x03" if number % 2 else b"")  # a handshake that stops
            assert ask("/health").endswith("alive\n")
    finally:
        program.terminate()
        program.join(PATIENCE_SECONDS)
    assert program.exitcode == 0
    text = (tmp_path / "linedays.log").read_text()
    assert "started" in text
    assert "stopped" in text
    assert (tmp_path / "linedays.log").stat().st_mode & 0o777 == 0o600


def test_a_certificate_that_cannot_be_used_is_reported(store_url, certified, tmp_path):
    web, _ = certified
    web.key.write_text("no key")
    with pytest.raises(ServeError, match="cannot be used"):
        serve(DashboardConfig(store_url=store_url, web=web))
    open_to_all = Web(address="0.0.0.0", hosts=(HOST,), proxies=("127.0.0.1",))
    with pytest.raises(SettingsError, match="passwords would travel there unencrypted"):
        serve(DashboardConfig(store_url=store_url, web=open_to_all))
