"""How does a person at a terminal see that a command is at work, and how much is left?"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from threading import Timer

AFTER_SECONDS = 2.0
_calculating = ExitStack()


def begin_calculating() -> None:
    """Show as `waiting` that a command calculates, until it shows its answer or other progress."""
    _calculating.enter_context(waiting("calculating"))


def end_calculating() -> None:
    """Show it no more, before an answer is shown."""
    _calculating.close()


@contextmanager
def counting(what: str, total: int) -> Iterator[Callable[[], None]]:
    """A bar on stderr, for a terminal only; call what it hands out once for each part done.

    Examples
    --------
    >>> with counting("mornings", 2) as done:
    ...     done()
    """
    end_calculating()
    if not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console  # takes long to load and is for terminals alone
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    console = Console(stderr=True)
    with Progress(*columns, TimeElapsedColumn(), console=console, transient=True) as shown:
        task = shown.add_task(what, total=total)
        yield lambda: shown.advance(task)


@contextmanager
def waiting(what: str) -> Iterator[None]:
    """Show what is done and for how long, on a terminal, if it takes more than two seconds."""
    end_calculating()
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console  # takes long to load and is for terminals alone
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    console = Console(stderr=True)
    shown = Progress(*columns, console=console, transient=True, redirect_stdout=False)
    shown.add_task(what, total=None)
    begin = Timer(AFTER_SECONDS, shown.start)
    begin.start()
    try:
        yield
    finally:
        begin.cancel()
        begin.join()
        shown.stop()
