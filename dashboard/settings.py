"""Which settings does the file of a server for several desks hold, and do they fit together?"""

from __future__ import annotations

import ipaddress
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dashboard.config import Web
from dashboard.provider import SettingsError, read_provider
from dashboard.security.roles import NAMES

HOST_NAME = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)(\.(?!-)[a-z0-9-]{1,63}(?<!-))*", re.IGNORECASE)


@dataclass(frozen=True)
class Settings:
    """What a settings file holds; None: not stated."""

    web: Web
    store: str | None = None
    policy: Path | None = None
    texts: tuple[Path, ...] = ()


def read_settings(path: Path) -> Settings:
    """Read a settings file (TOML).

    Parameters
    ----------
    path : Path
        Its files are named relative to it.

    Raises
    ------
    SettingsError
        The file cannot be read, a key is unknown, or a value does not fit; which, and how to
        correct it.
    """
    try:
        stated = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise SettingsError(f"{path}: {fault.strerror}.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise SettingsError(f"{path} is not TOML: {fault}.") from None
    of_provider = stated.pop("provider", None)
    unknown = sorted(set(stated) - set(_READ))
    if unknown:
        raise SettingsError(
            f"{path}: {', '.join(unknown)} is no setting. There are: {', '.join(sorted([*_READ, 'provider']))}."
        )
    read = {name: _READ[name](f"{path}: {name}", value) for name, value in stated.items()}
    for name in ("certificate", "key", "log", "policy", "second_factor_key"):
        if name in read:
            read[name] = path.parent / read[name]
    texts = tuple(path.parent / name for name in read.pop("texts", ()))
    of_web = {name: value for name, value in read.items() if name not in {"store", "policy"}}
    if of_provider is not None:
        of_web["provider"] = read_provider(f"{path}: provider", of_provider, path.parent)
    web = checked(replace(Web(), **of_web), str(path))
    return Settings(web, read.get("store"), read.get("policy"), texts)


def checked(web: Web, where: str) -> Web:
    """Refuse settings under which passwords would travel unencrypted, or that miss a part.

    Raises
    ------
    SettingsError
        One sentence on what to add.
    """
    if (web.certificate is None) != (web.key is None):
        raise SettingsError(f"{where}: certificate and key go together; one is missing.")
    if not is_loopback(web.address) and web.certificate is None:
        raise SettingsError(
            f"{where}: {web.address} can be reached from other machines, and passwords would travel "
            "there unencrypted. Name a certificate and key, or let a proxy on this machine encrypt "
            "and keep the address 127.0.0.1."
        )
    if web.hosts and not (web.proxies or web.certificate):
        raise SettingsError(
            f"{where}: hosts are reached by https alone: name the addresses of the proxies that "
            "encrypt, or a certificate and key."
        )
    if (web.proxies or web.certificate) and not web.hosts:
        raise SettingsError(
            f"{where}: hosts is missing: the names under which browsers reach linedays."
        )
    if web.proxies and web.certificate:
        raise SettingsError(f"{where}: either proxies encrypt, or certificate and key; not both.")
    return web


def is_loopback(host: str) -> bool:
    """Whether an address is this machine's own.

    Examples
    --------
    >>> is_loopback("localhost"), is_loopback("::1"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def within(address: str, networks: tuple[str, ...]) -> bool:
    """Whether an address lies in one of some networks.

    Examples
    --------
    >>> within("10.1.2.3", ("10.1.0.0/16",)), within("10.2.2.3", ("10.1.0.0/16",)), within("", ("::/0",))
    (True, False, False)
    """
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    return any(found in ipaddress.ip_network(network, strict=False) for network in networks)


def _text(where: str, value: object) -> str:
    if not isinstance(value, str) or not value:
        raise SettingsError(f"{where} is a text in quotation marks.")
    return value


def _port(where: str, value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= 65535:
        raise SettingsError(f"{where} is a number from 1 to 65535.")
    return value


def _address(where: str, value: object) -> str:
    text = _text(where, value)
    try:
        return text if text == "localhost" else str(ipaddress.ip_address(text))
    except ValueError:
        raise SettingsError(f"{where}: {text} is no address such as 127.0.0.1.") from None


def _path(where: str, value: object) -> Path:
    return Path(_text(where, value))


def _list(where: str, value: object, fits: Callable[[str], object], what: str) -> tuple[str, ...]:
    texts = value if isinstance(value, list) else [value]
    for text in texts:
        try:
            good = bool(fits(_text(where, text)))
        except ValueError:
            good = False
        if not good:
            raise SettingsError(f"{where}: {text} is no {what}.")
    return tuple(texts)


def _hosts(where: str, value: object) -> tuple[str, ...]:
    named = _list(where, value, HOST_NAME.fullmatch, "host name such as linedays.example.org")
    return tuple(name.lower() for name in named)


def _networks(where: str, value: object) -> tuple[str, ...]:
    def fits(text: str) -> object:
        return ipaddress.ip_network(text, strict=False) is not None

    return _list(where, value, fits, "address or network such as 10.0.0.5 or 10.0.0.0/24")


def _roles(where: str, value: object) -> tuple[str, ...]:
    known = [str(role) for role in NAMES]
    return _list(where, value, known.__contains__, f"role such as {known[0]}")


def _files(where: str, value: object) -> tuple[str, ...]:
    return _list(where, value, bool, "file")


_READ: Mapping[str, Callable[[str, object], Any]] = {
    "address": _address,
    "port": _port,
    "hosts": _hosts,
    "proxies": _networks,
    "certificate": _path,
    "key": _path,
    "metrics": _networks,
    "log": _path,
    "store": _text,
    "policy": _path,
    "second_factor_key": _path,
    "two_steps_for": _roles,
    "texts": _files,
}
"""How each setting is read."""
