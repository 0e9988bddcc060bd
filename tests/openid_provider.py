"""An OpenID Connect provider on a port of this machine, with a few invented people."""

from __future__ import annotations

import threading
import warnings

import flask
import werkzeug.serving

with warnings.catch_warnings():
    import authlib.deprecate

    # Of libraries that it uses, about their next versions.
    warnings.simplefilter("ignore", authlib.deprecate.AuthlibDeprecationWarning)
    import oidc_provider_mock
    from authlib import jose

PEOPLE = {
    "s-1": {"preferred_username": "ward.nurse", "groups": ["all staff", "nurses-north"]},
    "s-2": {"preferred_username": "visitor", "groups": ["all staff"]},
    "s-3": {"preferred_username": "manager", "groups": ["managers"]},
    "s-4": {"preferred_username": "ward.nurse", "groups": ["managers"]},
    "s-5": {"groups": ["managers"]},
}


class Running:
    """A provider on a port of this machine; what it was asked for a token with is kept."""

    def __init__(self, host: str = "127.0.0.1") -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            users = [
                oidc_provider_mock.User(sub=sub, claims=claims) for sub, claims in PEOPLE.items()
            ]
            app = oidc_provider_mock.app(user_claims=users, require_nonce=True)
        self.asked: list[dict[str, str]] = []
        self.key: object | None = None
        self.moved: str | None = None
        app.before_request(self._look)
        app.wsgi_app = app.wsgi_app.app  # without its debugger
        self.server = werkzeug.serving.make_server(host, 0, app, threaded=True)
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.05,))
        self.thread.start()
        self.address = f"http://{host}:{self.server.port}"

    def _look(self) -> flask.typing.ResponseReturnValue | None:
        if flask.request.path == self.moved and not flask.request.args:
            return flask.redirect(f"{self.moved}?moved=1", 307)
        if flask.request.path == "/oauth2/token":
            self.asked.append(flask.request.form.to_dict())
        if self.key is not None:
            flask.g.oidc_provider_mock_storage.jwk, self.key = self.key, None
        return None

    def change_key(self) -> None:
        """Sign with a new key from the next request on."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self.key = jose.RSAKey.generate_key(is_private=True)

    def close(self) -> None:
        self.server.shutdown()
        self.thread.join()
        self.server.server_close()
