"""What are the cookies of this server called?

A browser sends the cookies of an address to every port of it. So the port is part of each name:
two servers on one machine leave each other's sign-ins alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.config import DashboardConfig


@dataclass(frozen=True)
class CookieNames:
    """Names of the cookies that one server sets."""

    sign_in: str
    """Holds the token of a sign-in."""
    session: str
    """Holds what forms are checked against."""
    csrf: str
    """Dash sends the value of this cookie back as the header ``X-CSRFToken``."""

    provider: str
    """Holds what is remembered while somebody is at the hospital's sign-in."""

    @classmethod
    def of(cls, config: DashboardConfig) -> CookieNames:
        """The names for a server's port.

        Examples
        --------
        >>> CookieNames.of(DashboardConfig(store_url="", port=8461)).sign_in
        'linedays_sign_in_8461'
        """
        names = ("linedays_sign_in", "linedays_session", "_csrf_token", "linedays_provider")
        suffix = "" if config.port is None else f"_{config.port}"
        # Browsers hold cookies with this prefix to https, this host name and the whole of it.
        prefix = "__Host-" if config.web.encrypted else ""
        return cls(*(f"{prefix}{name}{suffix}" for name in names))
