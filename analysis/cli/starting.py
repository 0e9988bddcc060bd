"""The command that writes the starter kit."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

import typer

from analysis.cli.opening import opened, policy_of, today
from analysis.cli.options.loading import Starter
from analysis.cli.progress import waiting
from analysis.errors import UsageError
from analysis.files import check_writable, write_whole
from analysis.policy import Policy, load_policy
from analysis.starter import kit_files, load_texts, texts_in_english
from analysis.store import Store


def starter(asked: Starter) -> None:
    """Write the starter kit to a folder."""
    policy, zone = _policy(asked), asked.time_zone
    if zone is not None:
        _check_zone(zone)
    edition = policy.on(today(policy))
    texts = load_texts(asked.texts, edition) if asked.texts else texts_in_english(edition)
    program = shutil.which(sys.argv[0]) or "linedays"
    activate = None if program == shutil.which("linedays") else _activation(Path(program))
    place = asked.folder.absolute()
    with waiting("making the workbooks and diaries"):
        kit = kit_files(policy, edition, texts, zone, str(place), program, activate)
    paths = {place / name: content for name, content in kit.files.items()}
    for path in paths:
        check_writable(path, replace=asked.force)
    for path, content in paths.items():
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_whole(path, content, replace=asked.force)
    typer.echo(
        f"linedays: {len(paths)} files are in {asked.folder}. Start with {asked.folder / 'README.txt'}.",
        err=True,
    )
    if kit.faults:
        typer.echo(f"linedays: {kit.faults[0]}", err=True)
        raise typer.Exit(3)


def _activation(program: Path) -> str | None:
    """The command that puts a program of a virtual environment on the path of a terminal."""
    script = program.absolute().with_name("activate")
    return f'source "{script}"' if script.is_file() else None


def _policy(asked: Starter) -> Policy:
    """The policy that is named or the store's; no store is made."""
    if not Store.is_there(asked.store):
        return load_policy(asked.policy)
    with opened(asked.store) as store:
        return policy_of(store, asked.policy)


def _check_zone(zone: str) -> None:
    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        raise UsageError(
            f"--time-zone {zone!r} is no IANA time zone; write one like 'Asia/Tokyo'."
        ) from None
