"""Nobody stops the server, or fills its disk, with what is sent before signing in."""

from __future__ import annotations

import http.client
import os
import socket
import threading
from contextlib import ExitStack, closing
from types import SimpleNamespace

import pytest

from dashboard.config import DashboardConfig, Web
from dashboard.connections import Connections
from dashboard.receiving import MOST_BYTES, Server
from dashboard.serving import TIMES_THE_MOST, _admits
from dashboard.workers import Receiving
from tests.ports import free_port
from tests.proxied import in_thread
from tests.signed_in import NOW, app, browser_of, clock, programme_file, store_url

__all__ = ["app", "clock", "programme_file", "store_url"]


@pytest.fixture
def address(store_url):
    """A served dashboard's address."""
    port = free_port()
    config = DashboardConfig(store_url=store_url, clock=lambda: NOW, port=port, web=Web(port=port))
    with in_thread(config):
        yield "127.0.0.1", port


def send(address, text: str) -> socket.socket:
    connected = socket.create_connection(address, 60)
    connected.sendall(text.replace("\n", "\r\n").encode())
    return connected


def answer(connected: socket.socket) -> str:
    """The first line of an answer; nothing where the connection was closed."""
    with connected:
        try:
            return connected.makefile().readline().strip()
        except ConnectionError:
            return ""


HEALTH = "GET /health HTTP/1.1\nHost: 127.0.0.1\nConnection: close\n\n"


def test_half_sent_requests_hold_nobody_up_and_are_given_up(address, monkeypatch):
    monkeypatch.setattr("dashboard.receiving.REQUEST_SECONDS", 1)
    with ExitStack() as opened:
        half = [
            *(send(address, "GET / HTTP/1.1\nHost: 127.0.0.1\nX-Slow: ") for _ in range(20)),
            *(
                send(address, "POST /sign-in HTTP/1.1\nHost: 127.0.0.1\nContent-Length: 99\n\nco")
                for _ in range(40)
            ),
        ]
        for one in half:
            opened.enter_context(one)
        assert answer(send(address, HEALTH)) == "HTTP/1.1 200 OK"
        assert [answer(one) for one in half] == [""] * 60
        assert answer(send(address, HEALTH)) == "HTTP/1.1 200 OK"


def test_a_request_that_is_still_being_received_is_waited_for():
    with socket.create_server(("127.0.0.1", 0)) as listening:
        server = Server(None, listening, 1, lambda *_: MOST_BYTES, finds_accounts=False)
        half = "POST / HTTP/1.1\nHost: 127.0.0.1\nContent-Length: 9\n\nhalf"
        with send(listening.getsockname(), half):
            received = any(server.is_answering() or server.answer_for(0.1) for _ in range(100))
        given_up = any(not server.is_answering() or server.answer_for(0.1) for _ in range(100))
        server.close()
        server.task_dispatcher.shutdown()
    assert received
    assert given_up


class Ending(Receiving):
    """A process that answers without a program about it; clearing `alive` tells it to end."""

    def __init__(self, listening: socket.socket) -> None:
        self.alive, self.ppid = True, os.getppid()
        self.cfg = SimpleNamespace(threads=1)
        self.age, self.app = (
            1,
            SimpleNamespace(admits=lambda *_: 0, finds_accounts=False, connections=Connections()),
        )
        self.sockets, self.wsgi = [SimpleNamespace(sock=listening)], self.says

    def notify(self) -> None:
        """Tell nobody."""

    @staticmethod
    def says(_environ, start):
        start("200 OK", [("Content-Length", "2")])
        return [b"ok"]


def test_a_request_on_its_way_to_a_process_that_ends_is_answered(monkeypatch):
    monkeypatch.setattr("dashboard.workers.LINGER_SECONDS", 5)
    servers = []
    monkeypatch.setattr(
        "dashboard.workers.Server",
        lambda *given, **more: servers.append(Server(*given, **more)) or servers[0],
    )
    with socket.create_server(("127.0.0.1", 0)) as listening, ExitStack() as opened:
        worker = Ending(listening)
        running = threading.Thread(target=worker.run)
        running.start()
        browsers = [http.client.HTTPConnection(*listening.getsockname(), 60) for _ in range(2)]

        def ask(browser: http.client.HTTPConnection) -> bytes:
            opened.enter_context(closing(browser))
            browser.request("GET", "/")
            return browser.getresponse().read()

        assert [ask(browser) for browser in browsers] == [b"ok", b"ok"]
        worker.alive = False
        assert ask(browsers[0]) == b"ok"  # it looks up, and ends
        running.join(0.5)
        assert ask(browsers[1]) == b"ok"
        running.join(60)
        assert not running.is_alive()
        servers[0].asyncore.close_all(servers[0]._map)  # as a process that is over does


@pytest.mark.parametrize("path", ["/incoming/files", "/sign-in", "/_dash-update-component"])
@pytest.mark.parametrize(
    "length", ["Content-Length: 900000000", f"Content-Length: {MOST_BYTES + 1}"]
)
def test_a_long_body_is_refused_before_it_is_sent(address, path, length):
    head = f"POST {path} HTTP/1.1\nHost: 127.0.0.1\n{length}\n\n"
    assert "413" in answer(send(address, head))


def test_a_body_of_unknown_length_is_received_up_to_the_limit_alone(address):
    connected = send(
        address, "POST /sign-in HTTP/1.1\nHost: 127.0.0.1\nTransfer-Encoding: chunked\n\n"
    )
    chunk = b"10000\r\n" + b"x" * 65_536 + b"\r\n"
    sent = 0
    try:
        for _ in range(400):
            connected.sendall(chunk)
            sent += len(chunk)
    except ConnectionError:  # the server has let go
        pass
    assert answer(connected) in {"", "HTTP/1.1 413 Request Entity Too Large"}
    assert sent < 400 * len(chunk)


def test_long_bodies_are_for_people_who_may_import_files(app, clock):
    most = _admits(app, app.service.config)
    for code, expected in (("manager", TIMES_THE_MOST * 50_000_000), ("reader", MOST_BYTES)):
        cookie = f"linedays_sign_in={browser_of(app, code).cookie('linedays_sign_in')}"
        assert most("/incoming/files", cookie, "") == expected
        assert most("/sign-in", cookie, "") == MOST_BYTES
    assert most("/incoming/files", "linedays_sign_in=forged", "") == MOST_BYTES
    assert most("/incoming/files", "", "") == MOST_BYTES
