"""Options of the commands that open the dashboard."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.options.shared import PolicyOption, StoreOption

DEMO_FOLDER = Path("linedays-demo")
PORT = 8461


@dataclass(frozen=True, kw_only=True)
class OnPort:
    """A port."""

    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port on this machine.")] = (
        PORT
    )


@dataclass(frozen=True, kw_only=True)
class Serve(OnPort, StoreOption, PolicyOption):
    """Open the dashboard on this machine, for people who sign in (see linedays user add)."""

    source: Annotated[
        list[str] | None,
        typer.Option(
            "--source",
            metavar="PROFILE",
            help="Source profile to offer when files are uploaded; may be repeated.",
        ),
    ] = None
    upload_mb: Annotated[
        int,
        typer.Option("--upload-mb", min=1, max=1000, help="Most MB of files uploaded at once."),
    ] = 50
    processes: Annotated[
        int | None,
        typer.Option(
            "--processes",
            min=1,
            max=64,
            help="Processes that answer in parallel [one per core, at most 4].",
            show_default=False,
        ),
    ] = None


@dataclass(frozen=True, kw_only=True)
class Demo(OnPort):
    """Build a store from invented log files, two years to yesterday, and open the dashboard."""

    families: Annotated[
        int, typer.Option("--families", min=12, max=200_000, help="Invented families.")
    ] = 240
    seed: Annotated[int, typer.Option("--seed", help="Same seed, same data.")] = 1
    fit_order: Annotated[
        bool,
        typer.Option("--fit-order", help="Also fit the order within a band to the past (slower)."),
    ] = False
    no_serve: Annotated[bool, typer.Option("--no-serve", help="Build the store and stop.")] = False
    folder: Annotated[
        Path, typer.Option("--folder", help="Where the demo's files and store are put.")
    ] = DEMO_FOLDER
