"""Options of the commands that open the dashboard."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from analysis.cli.options.declared import argument, command, flag, option, options, required
from analysis.cli.options.shared import ForceOption, PolicyOption, StoreOption


class ProxyName(StrEnum):
    """Programs that encrypt for linedays."""

    NGINX = "nginx"
    CADDY = "caddy"


@options
class OnPort:
    """A port."""

    port: int | None = option("Port on this machine [8461].", min=1, max=65535)


@command("serve", "serving:serve")
class Serve(OnPort, StoreOption, PolicyOption):
    """Open the dashboard on this machine, for people who sign in (see linedays user add)."""

    settings: Path | None = option(
        "Settings for several desks (TOML): host names, proxies or certificate, store.",
        metavar="FILE",
    )
    source: list[str] | None = option(
        "Source profile to offer when files are uploaded; may be repeated.", metavar="PROFILE"
    )
    texts: list[Path] | None = option(
        "Translated texts.toml of the starter kit, for hand-outs; one a language, may be repeated.",
        metavar="FILE",
    )
    upload_mb: int = option("Most MB of files uploaded at once.", min=1, max=1000, default=50)
    processes: int | None = option(
        "Processes that answer in parallel [one per core, at most 4].",
        min=1,
        max=64,
        show_default=False,
    )


@command("serve setup", "serving:setup")
class ServeSetup(StoreOption, ForceOption):
    """Write the files of a server for several desks: settings, unit, log rotation, proxy."""

    folder: Path = argument("Where they are written; nothing is installed.", "FOLDER")
    host: str = required("Name under which browsers reach linedays, such as linedays.example.org.")
    proxy: ProxyName = option("The program that encrypts.", default=ProxyName.NGINX)
    port: int = option("Port between the proxy and linedays.", min=1, max=65535, default=8461)
    upload_mb: int = option("Most MB of files uploaded at once.", min=1, max=1000, default=50)


@command("demo", "serving:demo")
class Demo(OnPort):
    """Build a store from invented log files, two years to yesterday, and open the dashboard."""

    families: int = option("Invented families.", min=12, max=200_000, default=240)
    seed: int = option("Same seed, same data.", default=1)
    fit_order: bool = flag("Also fit the order within a band to the past (slower).")
    no_serve: bool = flag("Build the store and stop.")
    folder: Path = option(
        "Where the demo's files and store are put.", default=Path("linedays-demo")
    )
