"""What does a user send to the maintainers when linedays itself fails?

A report shows where in the program it stopped, and how it was called. It quotes no message of a
fault, for messages quote cells: rows, notes and contacts stay where they are.
"""

from __future__ import annotations

import platform
import re
import sys
import tempfile
import traceback
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from analysis.files import FileError, write_whole

LIBRARIES = ("pandas", "numpy", "pyarrow", "sqlalchemy", "typer")
_PASSWORD = re.compile(r"(?<=://)[^/]*@")
_ROOT = Path(__file__).parents[2]


def write_report(command: str, asked: object, fault: BaseException) -> str:
    """Write a report of a fault of the program; return the sentence for the user.

    Parameters
    ----------
    command : str
        Name of the command.
    asked : object
        Its options, a dataclass.
    fault : BaseException
        What stopped it.

    Returns
    -------
    str
        Names the report, which its owner alone may read.
    """
    now = datetime.now(UTC)
    name = f"linedays-fault-{now:%Y%m%d-%H%M%S}.txt"
    text = report(command, asked, fault, now)
    for folder in (Path(), Path(tempfile.gettempdir())):
        with suppress(FileError):
            write_whole(folder / name, text)
            return (
                f"A fault in linedays ({type(fault).__name__}) stopped this command. The report "
                f"{folder / name} describes it and holds no row, note or contact: send it to the "
                "person who maintains linedays."
            )
    return (
        f"A fault in linedays ({type(fault).__name__}) stopped this command, and no report could "
        "be written here. Run it again in a folder where this account may write."
    )


def report(command: str, asked: object, fault: BaseException, now: datetime) -> str:
    """Return the text of a report."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    head = [
        "Report of a fault in linedays. It quotes no message of a fault, row, note or contact.",
        f"time: {now:%Y-%m-%dT%H:%M:%SZ}",
        f"linedays {version('linedays')}, Python {platform.python_version()}, {sys.platform}",
        libraries,
        f"command: linedays {command}",
        *(f"  {option}" for option in _options(asked)),
        "",
    ]
    return "\n".join([*head, *_where(fault)]) + "\n"


def _options(asked: object) -> Iterator[str]:
    """Each option that was given, users and passwords cut out."""
    if not is_dataclass(asked):
        return
    for field in fields(asked):
        value = getattr(asked, field.name)
        if value != field.default:
            yield f"{field.name}: {_PASSWORD.sub('…@', str(value))}"


def _where(fault: BaseException) -> Iterator[str]:
    """Lines of the program that a fault passed through, its cause first."""
    earlier = fault.__cause__ or (None if fault.__suppress_context__ else fault.__context__)
    if earlier is not None:
        yield from _where(earlier)
        yield "which led to"
    for frame in traceback.extract_tb(fault.__traceback__):
        file = Path(frame.filename)
        ours = file.is_relative_to(_ROOT / "analysis")
        place = file.relative_to(_ROOT) if ours else Path(*file.parts[-3:])
        yield f"  {place}:{frame.lineno} in {frame.name}"
        if ours:
            yield f"    {frame.line}"
    yield f"{type(fault).__module__}.{type(fault).__qualname__}"
