"""Commands that open the dashboard, with the demo's data or a real store."""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import typer

from analysis.cli.fitting import TOO_FEW, fitted
from analysis.cli.inventing import invented_store
from analysis.cli.opening import opened, today
from analysis.cli.options.serving import Demo, Serve, ServeSetup
from analysis.decisions.order_file import add_fit
from analysis.errors import UsageError
from analysis.files import check_writable, write_whole
from analysis.policy import load_policy

DEMO_MARK = "THIS-IS-DEMO-DATA.txt"


def serve(asked: Serve) -> None:
    """Open the dashboard on a store."""
    from dashboard import DashboardConfig
    from dashboard import serve as serve_dashboard
    from dashboard.config import Web
    from dashboard.settings import Settings, read_settings

    settings = read_settings(asked.settings) if asked.settings else Settings(Web())
    store = asked.store if settings.store is None else settings.store
    with opened(store):
        pass  # a store that is missing or newer than the program is reported before anything starts
    config = DashboardConfig(
        store_url=store,
        policy_file=asked.policy or settings.policy,
        profiles=tuple(asked.source or ()),
        most_upload_bytes=asked.upload_mb * 1_000_000,
        web=settings.web if asked.port is None else replace(settings.web, port=asked.port),
        texts=tuple(asked.texts or settings.texts),
    )
    serve_dashboard(config, processes=asked.processes)


def setup(asked: ServeSetup) -> None:
    """Write the files of a server for several desks."""
    from dashboard.settings import HOST_NAME
    from dashboard.setup import Proxy, setup_files

    if not HOST_NAME.fullmatch(asked.host):
        raise UsageError(f"{asked.host} is no host name such as linedays.example.org.")
    if any(sign in asked.store for sign in '"\\\n'):
        raise UsageError("The store's URL holds a sign that a settings file cannot.")
    files = setup_files(
        host=asked.host.lower(),
        proxy=Proxy(asked.proxy),
        program=Path(sys.argv[0]).resolve(),
        store=asked.store,
        port=asked.port,
        upload_mb=asked.upload_mb,
    )
    asked.folder.mkdir(parents=True, exist_ok=True)
    for name in files:
        check_writable(asked.folder / name, replace=asked.force, stores=[])
    for name, text in files.items():
        write_whole(asked.folder / name, text, replace=asked.force)
        typer.echo(f"linedays: wrote {asked.folder / name}", err=True)
    typer.echo("linedays: next, follow 'For several desks' in DEVELOPERS.md.", err=True)


def demo(asked: Demo) -> None:
    """Build an invented store and open the dashboard on it."""
    as_of = today(load_policy())
    folder = asked.folder
    _cleared(folder)
    typer.echo(f"linedays: writing invented log files into {folder}/files")
    moment = datetime.now(UTC)
    made = invented_store(
        folder, families=asked.families, seed=asked.seed, as_of=as_of, received_at=moment
    )
    store_url = made.url
    typer.echo(
        f"linedays: {made.stored} rows stored, {made.refused} refused "
        "(the demo has wrong rows on purpose)"
    )
    policy_file = _fitted_policy(folder, store_url, as_of) if asked.fit_order else None
    if asked.no_serve:
        typer.echo(f"linedays: the demo's store is {store_url}")
        return
    from dashboard import DashboardConfig
    from dashboard import serve as serve_dashboard
    from dashboard.config import Web

    config = DashboardConfig(
        store_url=store_url,
        policy_file=policy_file,
        demo=True,
        profiles=made.profiles,
        web=Web(port=asked.port or Web.port),
    )
    serve_dashboard(config)


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
            raise UsageError(
                f"{folder} exists and is not an earlier demo; name another with --folder."
            )
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    (folder / DEMO_MARK).write_text(
        "Everything in this folder is invented and is replaced by the next linedays demo.\n",
        encoding="utf-8",
    )
