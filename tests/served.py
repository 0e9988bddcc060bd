"""A person at a served dashboard: one browser's connection, cookies and questions."""

from __future__ import annotations

import http.client
import json
import re
from typing import Any
from urllib.parse import urlencode

from tests.signed_in import PASSWORD, page_request


class Person:
    """A signed-in browser that keeps its connection, and so its process, and its cookies."""

    def __init__(self, port: int, code: str) -> None:
        self.port, self.code = port, code
        self.cookies: dict[str, str] = {}
        self.connect()
        page = self.send("GET", "/sign-in")[1].decode()
        token = re.search(r'name="csrf_token" value="([^"]+)"', page)
        assert token is not None
        form = {"code": code, "password": PASSWORD, "to": "/", "csrf_token": token[1]}
        assert self.post("/sign-in", form) == 303
        assert self.send("GET", "/definitions")[0] == 200

    def connect(self) -> None:
        """Use a new connection from now on; whichever process is free takes it."""
        self.open = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)

    def send(
        self, how: str, path: str, body: bytes | None = None, heads: dict[str, str] | None = None
    ) -> tuple[int, bytes]:
        """Send a request; returns status and body."""
        cookie = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        self.open.request(how, path, body, {"Cookie": cookie, **(heads or {})})
        reply = self.open.getresponse()
        for name, value in reply.getheaders():
            if name.lower() == "set-cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.split(";")[0]
        return reply.status, reply.read()

    def post(self, path: str, form: dict[str, str]) -> int:
        """Send a form."""
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return self.send("POST", path, urlencode(form).encode(), kind)[0]

    def sign_out(self) -> int:
        """Leave, as the button does."""
        return self.post("/sign-out", {"csrf_token": self.cookies[f"_csrf_token_{self.port}"]})

    def call_back(self, body: Any) -> tuple[int, str]:
        """Put a callback's question, with the token of the page."""
        heads = {
            "Content-Type": "application/json",
            "X-CSRFToken": self.cookies[f"_csrf_token_{self.port}"],
        }
        sent = json.dumps(body).encode()
        status, answer = self.send("POST", "/_dash-update-component", sent, heads)
        return status, answer.decode()

    def page(self, path: str, search: str = "") -> str:
        """What a page shows."""
        status, answer = self.call_back(page_request(path, search))
        assert status == 200, (path, status, answer[:300])
        return answer

    def get(self, path: str) -> bytes:
        """A file or page as it is sent."""
        status, answer = self.send("GET", path)
        assert status == 200, (path, status)
        return answer
