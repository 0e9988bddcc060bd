"""What is done once a command has shown its answer?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from analysis.cli.progress import end_calculating

_work: list[Callable[[], None]] = []


def afterwards(work: Callable[[], None]) -> None:
    """Have something done when the answer is out, unless the command fails."""
    _work.append(work)


@contextmanager
def answering() -> Iterator[None]:
    """Do what was asked for in the block when it ends without a fault."""
    try:
        yield
        for work in _work:
            work()
    finally:
        end_calculating()
        _work.clear()
