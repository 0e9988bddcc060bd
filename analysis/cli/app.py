"""How does a command line become an answer, one sentence or a report, and an exit code?

Exit codes: 0 done, 1 done but rows were refused (ingest), 2 the command was called wrongly,
3 it cannot be done, 130 stopped from the keyboard.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import NoReturn

import typer

from analysis.cli import keyboard
from analysis.cli.afterwards import answering
from analysis.cli.commands import COMMANDS
from analysis.cli.options.declared import Command
from analysis.cli.parsing import application
from analysis.errors import UserError
from analysis.files import check_writable

CANNOT = 3

ALWAYS_WRITE = frozenset({"report"})
"""Commands that write data about families to files; exports and backups record it themselves."""
NOT_ABOUT_FAMILIES = frozenset(
    {
        "policy",
        "ingest",
        "source",
        "sources",
        "sources export",
        "user list",
        "user sign-ins",
        "verify",
    }
)
"""Commands whose file holds nothing about families."""


def main() -> None:
    """Run the command line."""
    _command_line()(prog_name="linedays")


@cache
def _command_line() -> Callable[..., None]:
    return application(COMMANDS, _run)


def _run(name: str, command: Command, asked: object) -> None:
    """Run a command; what stops it becomes one sentence on stderr."""
    try:
        _answer(name, command, asked)
    except (typer.Exit, typer.Abort):
        raise
    except UserError as fault:
        _stop(str(fault), fault.exit_code)
    except OSError as fault:
        if isinstance(fault, BrokenPipeError):
            raise
        if not (fault.filename and fault.strerror):
            _fault(name, asked, fault)
        _stop(f"{fault.filename}: {fault.strerror}.", CANNOT)
    except Exception as fault:
        _fault(name, asked, fault)


def _answer(name: str, command: Command, asked: object) -> None:
    try:
        _check_output(asked)
        _record_output(name, asked)
        if name == "ingest":
            from analysis.cli.memory import return_memory_at_once

            return_memory_at_once()
        with answering():
            command.answer(asked)
    except Exception:
        if keyboard.was_pressed():
            raise KeyboardInterrupt from None
        raise


def _check_output(asked: object) -> None:
    """Refuse a file that may not be written, before the work that fills it."""
    out, store = getattr(asked, "out", None), str(getattr(asked, "store", ""))
    if isinstance(out, Path):
        of_store = store.partition("?")[0].removeprefix("sqlite:///")
        check_writable(out, replace=bool(getattr(asked, "force", False)), stores=[Path(of_store)])


def _record_output(name: str, asked: object) -> None:
    """Record who takes data about families out of the store, before it is written."""
    to_a_file = isinstance(getattr(asked, "out", None), Path) and name not in NOT_ABOUT_FAMILIES
    refused_rows = name == "refused" and getattr(asked, "write", None) is not None
    if hasattr(asked, "store") and (name in ALWAYS_WRITE or to_a_file or refused_rows):
        from analysis.cli.people import record_output

        option = "" if name in ALWAYS_WRITE else " --write" if refused_rows else " --out"
        record_output(asked.store, f"{name}{option}")


def _fault(name: str, asked: object, fault: Exception) -> NoReturn:
    """Report a fault of the program."""
    if os.environ.get("LINEDAYS_TRACEBACK"):
        raise fault
    from analysis.cli.faults import write_report

    _stop(write_report(name, asked, fault), CANNOT)


def _stop(sentence: str, code: int) -> NoReturn:
    sys.stderr.write(f"linedays: {sentence}\n")
    raise SystemExit(code)
