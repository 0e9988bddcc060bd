"""Which sign-in of the hospital is used, and what may a person of its groups do here? Settings."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from analysis.errors import UserError
from analysis.vocabulary import Role


class SettingsError(UserError):
    """A settings file cannot be used; one sentence for a user."""


@dataclass(frozen=True)
class Group:
    """What the people of one group of the provider may do here."""

    name: str
    role: Role
    sites: tuple[str, ...] = ()
    """Empty: all sites."""
    families: bool = False


@dataclass(frozen=True)
class Provider:
    """An OpenID Connect provider.

    Parameters
    ----------
    issuer : str
        Its address, as it names itself in its tokens.
    client : str
        Name under which linedays is registered there.
    secret_file : Path or None
        Holds the secret of the registration; None: it has none.
    groups : tuple of Group
        The first group that a person is in decides the role; sites of further groups of this role
        are added.
    name : str
        How the page to sign in calls it.
    code_claim, groups_claim : str
        Claims that hold the staff code and the groups.
    scope : str
        What is asked of the provider.
    """

    issuer: str
    client: str
    groups: tuple[Group, ...]
    secret_file: Path | None = None
    name: str = "your hospital account"
    code_claim: str = "preferred_username"
    groups_claim: str = "groups"
    scope: str = "openid profile"

    def access_of(self, groups: Collection[str]) -> Group | None:
        """What a person of some groups may do; None: nothing.

        Examples
        --------
        >>> north, south = (Group(s, Role.NURSE, (s,)) for s in ("north", "south"))
        >>> found = Provider("https://example.org", "b", (north, south)).access_of(["south", "north", "x"])
        >>> found.sites
        ('north', 'south')
        """
        mine = [group for group in self.groups if group.name in groups]
        if not mine:
            return None
        same = [group for group in mine if group.role is mine[0].role]
        everywhere = any(not group.sites for group in same)
        sites = dict.fromkeys(site for group in same for site in group.sites)
        return Group(
            mine[0].name,
            mine[0].role,
            () if everywhere else tuple(sites),
            any(group.families for group in same),
        )


def read_provider(where: str, stated: object, folder: Path) -> Provider:
    """Read the table `provider` of a settings file.

    Raises
    ------
    SettingsError
        A key is missing or unknown, or the provider would be reached unencrypted.
    """
    table = _table(where, stated, Provider)
    groups = table.get("groups")
    if not isinstance(groups, list) or not groups:
        raise SettingsError(f"{where}: [[provider.groups]] is missing: who may do what here.")
    table["groups"] = tuple(_group(f"{where}.groups", one) for one in groups)
    for name in ("issuer", "client"):
        if name not in table:
            raise SettingsError(f"{where}: {name} is missing.")
    for name, value in table.items():
        if name != "groups" and (not isinstance(value, str) or not value):
            raise SettingsError(f"{where}: {name} is a text in quotation marks.")
    address = urlsplit(table["issuer"])
    if address.scheme != "https" and address.hostname not in {"localhost", "127.0.0.1", "::1"}:
        raise SettingsError(f"{where}: issuer begins with https://, so that nobody reads along.")
    if "secret_file" in table:
        table["secret_file"] = folder / table["secret_file"]
    return Provider(**{**table, "issuer": table["issuer"].rstrip("/")})


def _group(where: str, stated: object) -> Group:
    table = _table(where, stated, Group)
    try:
        role = Role(table["role"])
        name, sites = str(table["name"]), table.get("sites", [])
    except (KeyError, ValueError):
        raise SettingsError(
            f"{where}: a group has a name and a role of {', '.join(Role)}."
        ) from None
    if not isinstance(sites, list) or not all(isinstance(site, str) for site in sites):
        raise SettingsError(f"{where}: sites is a list of texts.")
    return Group(name, role, tuple(sites), table.get("families") is True)


def _table(where: str, stated: object, kind: type[Any]) -> dict[str, Any]:
    known = {field.name for field in fields(kind)}
    if not isinstance(stated, Mapping):
        raise SettingsError(f"{where} is a table.")
    unknown = sorted(set(stated) - known)
    if unknown:
        raise SettingsError(
            f"{where}: {', '.join(unknown)} is no setting. There are: {', '.join(sorted(known))}."
        )
    return dict(stated)
