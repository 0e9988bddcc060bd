"""Which settings does a running dashboard need, and what time is it there?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from dashboard.provider import Provider

MOST_UPLOAD_BYTES = 50_000_000
"""About half a million entries; larger files are the command line's."""


def _now() -> datetime:
    return datetime.now(UTC)  # noqa: TID251 - the one place where the dashboard meets the clock


@dataclass(frozen=True)
class Web:
    """How browsers reach a dashboard; by default on this machine alone, without encryption.

    Parameters
    ----------
    address : str
        Address to listen on.
    port : int
        Port to listen on.
    hosts : tuple of str
        Names under which browsers of other machines know it, always by https; empty: it answers to
        this machine's own names.
    proxies : tuple of str
        Addresses or networks of proxies that encrypt; what others state about a client is ignored.
    certificate, key : Path or None
        Files to encrypt with, where no proxy does.
    metrics : tuple of str
        Addresses or networks that may read the metrics, besides this machine.
    log : Path or None
        File for the program's log; None: the terminal.
    provider : Provider or None
        The hospital's sign-in, next to local accounts.
    second_factor_key : Path or None
        File with the key of second factors; None: next to an SQLite store.
    two_steps_for : tuple of str
        Roles whose local accounts have to sign in in two steps.
    """

    address: str = "127.0.0.1"
    port: int = 8461
    hosts: tuple[str, ...] = ()
    proxies: tuple[str, ...] = ()
    certificate: Path | None = None
    key: Path | None = None
    metrics: tuple[str, ...] = ()
    log: Path | None = None
    provider: Provider | None = None
    second_factor_key: Path | None = None
    two_steps_for: tuple[str, ...] = ()

    @property
    def encrypted(self) -> bool:
        """Whether browsers reach it by https alone."""
        return bool(self.hosts)


@dataclass(frozen=True)
class DashboardConfig:
    """Settings of one dashboard.

    Parameters
    ----------
    store_url : str
        Store, as an SQLAlchemy URL. It has to exist.
    policy_file : Path or None
        The programme's policy file; None: the shipped policy.
    as_of : date or None
        Day to look at; None: today in the programme's time zone.
    known_at : date or datetime or None
        Rows received later are left out; None: the end of the as-of day.
    demo : bool
        The data are invented: every page shows that, and the clock is moved to `as_of`, so that
        calls can be recorded on it. Without it a fixed `as_of` shows a past day to read only.
    clock : callable
        Gives the present moment with a time zone.
    profiles : tuple of str or Path
        Source profiles to choose from when files are imported: names or TOML files.
    most_upload_bytes : int
        Files imported at once may hold no more than this together.
    port : int or None
        Port that this server answers on; sign-ins hold at it alone. None: not known.
    web : Web
        How browsers reach it.
    texts : tuple of Path
        Translated texts for hand-outs, one file a language.
    """

    store_url: str
    policy_file: Path | None = None
    as_of: date | None = None
    known_at: date | datetime | None = None
    demo: bool = False
    clock: Callable[[], datetime] = _now
    profiles: tuple[str | Path, ...] = ()
    most_upload_bytes: int = MOST_UPLOAD_BYTES
    port: int | None = None
    web: Web = Web()
    texts: tuple[Path, ...] = ()

    @property
    def server(self) -> str:
        """Which server of its store this is: a sign-in at one does not hold at another."""
        return "" if self.port is None else f"port {self.port}"
