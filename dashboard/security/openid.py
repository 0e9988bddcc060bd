"""Who does the hospital's sign-in say that somebody is? OpenID Connect, code flow with PKCE.

*Source:* OpenID Connect Core 1.0 (sections 3.1 and 10.1.1), Discovery 1.0, RP-Initiated Logout 1.0,
RFC 7636. Authlib speaks the protocol, joserfc checks the signatures.
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dashboard.provider import Provider

if TYPE_CHECKING:
    from authlib.integrations.requests_client import OAuth2Session
    from joserfc.jwk import KeySet

SKEW_SECONDS = 120
"""So far the clocks of provider and server may differ."""
KEPT_SECONDS = 3600
"""How long what the provider publishes of itself is used before it is asked for again."""
PATIENCE_SECONDS = 10
ALGORITHMS = ["RS256", "RS384", "RS512", "PS256", "ES256", "ES384", "EdDSA"]


class ProviderError(Exception):
    """The provider lets nobody in; one sentence for the page to sign in."""


UNREACHABLE = "The hospital's sign-in cannot be reached. Try again, or use a local account."
NOT_VALID = "The answer of the hospital's sign-in is not valid. Try again."


@dataclass(frozen=True)
class Identity:
    """Who somebody is, as the provider states."""

    subject: str
    """The provider's own name of the person, which never changes."""
    code: str
    groups: tuple[str, ...]


class OpenIdClient:
    """One provider, asked for many people. Threads may share it.

    Parameters
    ----------
    provider : Provider
        Its settings.
    clock : callable
        Gives the present moment.
    """

    def __init__(self, provider: Provider, clock: Callable[[], datetime]) -> None:
        self.provider = provider
        self._clock = clock
        self._lock = threading.Lock()
        self._found: dict[str, tuple[float, Any]] = {}

    def begin(self, back: str) -> tuple[str, dict[str, str]]:
        """Where to send the browser, and what to remember until it comes back.

        Parameters
        ----------
        back : str
            Address at which it comes back.

        Raises
        ------
        ProviderError
            The provider cannot be reached.
        """
        remembered = {name: secrets.token_urlsafe(32) for name in ("state", "nonce", "verifier")}
        url, _ = self._session(back).create_authorization_url(
            self._metadata()["authorization_endpoint"],
            state=remembered["state"],
            nonce=remembered["nonce"],
            code_verifier=remembered["verifier"],
        )
        return str(url), remembered

    def finish(
        self, back: str, answer: Mapping[str, str], remembered: Mapping[str, str]
    ) -> Identity:
        """Who came back.

        Parameters
        ----------
        back : str
            As in `begin`.
        answer : mapping
            Parameters with which the browser came back.
        remembered : mapping
            What `begin` gave.

        Raises
        ------
        ProviderError
            The person was refused there, or the answer is not the provider's own to this question.
        """
        if not secrets.compare_digest(answer.get("state", ""), remembered["state"]):
            raise ProviderError(NOT_VALID)
        if "code" not in answer:
            raise ProviderError("The hospital's sign-in did not let you in.")
        from authlib.integrations.base_client import OAuthError
        from requests import RequestException

        try:
            token = self._session(back).fetch_token(
                self._metadata()["token_endpoint"],
                code=answer["code"],
                code_verifier=remembered["verifier"],
                timeout=PATIENCE_SECONDS,
            )
        except RequestException:
            raise ProviderError(UNREACHABLE) from None
        except (OAuthError, ValueError):
            raise ProviderError(NOT_VALID) from None
        claims = self._claims(str(token.get("id_token", "")), remembered["nonce"])
        if self.provider.groups_claim not in claims and "userinfo_endpoint" in self._metadata():
            more = self._get(self._metadata()["userinfo_endpoint"], token.get("access_token"))
            if more.get("sub") == claims["sub"]:
                claims = {**more, **claims}
        return self._identity(claims)

    def sign_out_address(self, back: str) -> str | None:
        """Where a browser signs out of the provider too; None: it has no such page."""
        try:
            address = self._metadata().get("end_session_endpoint")
        except ProviderError:
            return None
        asked = {"client_id": self.provider.client, "post_logout_redirect_uri": back}
        return f"{address}?{urlencode(asked)}" if address else None

    def _identity(self, claims: Mapping[str, Any]) -> Identity:
        code, groups = claims.get(self.provider.code_claim), claims.get(self.provider.groups_claim)
        if not isinstance(code, str) or not code:
            raise ProviderError("The hospital's sign-in states no staff code for you.")
        listed = groups if isinstance(groups, list) else [groups]
        subject = f"{self.provider.issuer} {claims['sub']}"
        return Identity(subject, code, tuple(str(one) for one in listed if one))

    def _claims(self, id_token: str, nonce: str) -> dict[str, Any]:
        """The claims of an ID token of this provider, for us, of this sign-in, and not expired.

        Keys change: with a signature that no known key made, the present keys are asked for.
        """
        from joserfc import jwt
        from joserfc.errors import JoseError

        rules = jwt.JWTClaimsRegistry(
            now=int(self._clock().timestamp()),
            leeway=SKEW_SECONDS,
            iss={"essential": True, "value": self._metadata()["issuer"]},
            aud={"essential": True, "value": self.provider.client},
            sub={"essential": True},
            exp={"essential": True},
            iat={"essential": True},
            nonce={"essential": True, "value": nonce},
        )
        for fresh in (False, True):
            try:
                token = jwt.decode(id_token, self._keys(fresh=fresh), algorithms=ALGORITHMS)
                rules.validate(token.claims)
            except (JoseError, ValueError):
                continue
            return dict(token.claims)
        raise ProviderError(NOT_VALID)

    def _session(self, back: str) -> OAuth2Session:
        from authlib.integrations.requests_client import OAuth2Session

        file = self.provider.secret_file
        session = OAuth2Session(
            self.provider.client,
            None if file is None else file.read_text(encoding="utf-8").strip(),
            scope=self.provider.scope,
            redirect_uri=back,
            code_challenge_method="S256",
            token_endpoint_auth_method="none" if file is None else None,
        )
        session.max_redirects = 0  # the secret and the code go to the provider alone
        return session

    def _metadata(self) -> dict[str, Any]:
        address = f"{self.provider.issuer}/.well-known/openid-configuration"
        found = self._kept(address)
        if str(found.get("issuer", "")).rstrip("/") != self.provider.issuer:
            raise ProviderError(NOT_VALID)
        return found

    def _keys(self, *, fresh: bool) -> KeySet:
        from joserfc.jwk import KeySet

        return KeySet.import_key_set(self._kept(self._metadata()["jwks_uri"], fresh=fresh))  # type: ignore[arg-type]

    def _kept(self, address: str, *, fresh: bool = False) -> dict[str, Any]:
        now = time.monotonic()
        with self._lock:
            at, found = self._found.get(address, (0.0, None))
        if found is None or fresh or now - at > KEPT_SECONDS:
            found = self._get(address)
            with self._lock:
                self._found[address] = (now, found)
        return dict(found)

    def _get(self, address: str, token: str | None = None) -> dict[str, Any]:
        import requests

        heads = {} if token is None else {"Authorization": f"Bearer {token}"}
        try:
            answer = requests.get(
                address, headers=heads, timeout=PATIENCE_SECONDS, allow_redirects=False
            )
            answer.raise_for_status()
            found = answer.json()
        except (requests.RequestException, ValueError):
            raise ProviderError(UNREACHABLE) from None
        if not isinstance(found, dict):
            raise ProviderError(NOT_VALID)
        return found
