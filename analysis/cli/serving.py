"""Commands that open the dashboard, with the demo's data or a real store."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.fitting import TOO_FEW, fitted
from analysis.cli.inventing import invented_store
from analysis.cli.options import DEFAULT_STORE, PolicyOption, StoreOption, opened, today
from analysis.decisions.order_file import add_fit
from analysis.policy import load_policy

DEMO_FOLDER = Path("linedays-demo")
DEMO_MARK = "THIS-IS-DEMO-DATA.txt"
PORT = 8461

PortOption = Annotated[int, typer.Option("--port", min=1, max=65535, help="Port on loopback.")]

ProcessesOption = Annotated[
    int | None,
    typer.Option(
        "--processes",
        min=1,
        max=64,
        help="Processes that answer side by side [one a core, at most 4].",
        show_default=False,
    ),
]


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("demo")(demo)
    app.command("serve")(serve)


def serve(
    port: PortOption = PORT,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    source: Annotated[
        list[str] | None,
        typer.Option(
            "--source",
            metavar="PROFILE",
            help="Source profile to choose when files are brought in; may be given again.",
        ),
    ] = None,
    upload_mb: Annotated[
        int,
        typer.Option("--upload-mb", min=1, max=1000, help="Most MB of files brought in at once."),
    ] = 50,
    processes: ProcessesOption = None,
) -> None:
    """Open the dashboard on this machine, for people who sign in (see linedays user)."""
    from dashboard import DashboardConfig
    from dashboard import serve as serve_dashboard

    with opened(store):
        pass  # a store that is missing or newer than the program is told before anything starts
    config = DashboardConfig(
        store_url=store,
        policy_file=policy,
        profiles=tuple(source or ()),
        most_upload_bytes=upload_mb * 1_000_000,
    )
    serve_dashboard(config, port=port, processes=processes)


def demo(
    families: Annotated[
        int, typer.Option("--families", min=12, max=200_000, help="Invented families.")
    ] = 240,
    seed: Annotated[int, typer.Option("--seed", help="Same seed, same data.")] = 1,
    fit_order: Annotated[
        bool,
        typer.Option("--fit-order", help="Also fit the order within a band to the past (slower)."),
    ] = False,
    no_serve: Annotated[bool, typer.Option("--no-serve", help="Build the store and stop.")] = False,
    port: PortOption = PORT,
    folder: Annotated[
        Path, typer.Option("--folder", help="Where the demo's files and store are put.")
    ] = DEMO_FOLDER,
) -> None:
    """Build a store from invented log files, two years to yesterday, and open the dashboard."""
    as_of = today(load_policy())
    _cleared(folder)
    typer.echo(f"linedays: writing invented log files into {folder}/files")
    moment = datetime.now(UTC)
    made = invented_store(folder, families=families, seed=seed, as_of=as_of, received_at=moment)
    store_url = made.url
    typer.echo(
        f"linedays: {made.stored} rows stored, {made.refused} refused "
        "(the demo has wrong rows on purpose)"
    )
    policy_file = _fitted_policy(folder, store_url, as_of) if fit_order else None
    if no_serve:
        typer.echo(f"linedays: the demo's store is {store_url}")
        return
    from dashboard import DashboardConfig
    from dashboard import serve as serve_dashboard

    config = DashboardConfig(
        store_url=store_url, policy_file=policy_file, demo=True, profiles=made.profiles
    )
    serve_dashboard(config, port=port)


def _fitted_policy(folder: Path, store_url: str, as_of: date) -> Path | None:
    """Write a policy file that differs from the shipped one by a fitted order alone."""
    typer.echo("linedays: fitting the order within a band to the invented past")
    model = fitted(store_url, None, as_of)
    if model is None:
        typer.echo(f"linedays: {TOO_FEW}")
        return None
    add_fit(folder / "order.toml", model)
    policy_file = folder / "policy.toml"
    policy_file.write_text('order_file = "order.toml"\n', encoding="utf-8")
    return policy_file


def _cleared(folder: Path) -> None:
    """Make an empty demo folder; a folder that is not an earlier demo is left alone."""
    if folder.exists():
        if not (folder / DEMO_MARK).exists():
            raise typer.BadParameter(
                f"{folder} exists and is not an earlier demo; name another with --folder"
            )
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    (folder / DEMO_MARK).write_text(
        "Everything in this folder is invented and is replaced by the next linedays demo.\n",
        encoding="utf-8",
    )
