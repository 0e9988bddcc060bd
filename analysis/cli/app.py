"""Which commands are there, and how does a fault become one sentence and an exit code?

Exit codes: 0 done, 1 done but rows were refused (ingest), 2 the command was called wrongly,
3 it cannot be done.
"""

from __future__ import annotations

import os
import sys
from typing import NoReturn

import typer

from analysis.cli import (
    deciding,
    exporting,
    fitting,
    keeping,
    loading,
    people,
    reading,
    reporting,
    serving,
    statistics,
)
from analysis.exports import ExportError
from analysis.files import FileError
from analysis.ingest import IngestError, ProfileError
from analysis.measures import MeasureError
from analysis.policy import PolicyError
from analysis.store import StoreError
from analysis.words import CAUTIONS

app = typer.Typer(
    name="linedays",
    help=f"Whom to call about a central line at home, and why.\n\n{' '.join(CAUTIONS)}",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for room in (
    loading,
    reading,
    statistics,
    deciding,
    fitting,
    reporting,
    exporting,
    keeping,
    people,
    serving,
):
    room.add_to(app)

_CANNOT = (ExportError, FileError, StoreError, PolicyError, IngestError, ProfileError, OSError)


def main() -> None:
    """Run the command line; a fault becomes one sentence on stderr."""
    try:
        app()
    except MeasureError as fault:
        _stop(str(fault), 2)
    except _CANNOT as fault:
        _stop(_sentence(fault), 3)
    except KeyboardInterrupt:
        _stop("Stopped by the keyboard; nothing half done was kept.", 3)
    except Exception as fault:
        if os.environ.get("LINEDAYS_TRACEBACK"):
            raise
        _stop(
            f"A fault of the program ({type(fault).__name__}) stopped this command; nothing was "
            "changed by it. Run it again with LINEDAYS_TRACEBACK=1 to see where.",
            3,
        )


def _sentence(fault: Exception) -> str:
    if isinstance(fault, OSError) and fault.strerror:
        where = f"{fault.filename}: " if fault.filename else ""
        return f"{where}{fault.strerror}."
    return str(fault)


def _stop(sentence: str, code: int) -> NoReturn:
    sys.stderr.write(f"linedays: {sentence}\n")
    raise SystemExit(code)
