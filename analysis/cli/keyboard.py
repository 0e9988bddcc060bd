"""How does Ctrl+C end a command: with one sentence, at any moment?"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

SENTENCE = "Stopped from the keyboard. What was unfinished is not saved."
CODE = 130
"""Exit code of a program that Ctrl+C ended: 128 and the number of the signal."""
_SOON = 0.05
_pressed = threading.Event()


def was_pressed() -> bool:
    """Whether Ctrl+C was pressed: what fails then failed because of it.

    Libraries replace what Ctrl+C raises by errors of their own: modules that are being imported,
    connections that are rolled back.
    """
    return _pressed.is_set()


@contextmanager
def one_sentence() -> Iterator[None]:
    """Write a sentence instead of a traceback when Ctrl+C ends what is done within."""
    _pressed.clear()
    before = signal.signal(signal.SIGINT, _stop)
    drops, sys.unraisablehook = sys.unraisablehook, _raise_again
    try:
        yield
    except KeyboardInterrupt:
        pass
    except SystemExit as end:
        if end.code != CODE:  # with this code typer ends a command that Ctrl+C stopped
            raise
    else:
        return
    finally:
        sys.unraisablehook = drops
        signal.signal(signal.SIGINT, before)
    sys.stderr.write(f"linedays: {SENTENCE}\n")
    raise SystemExit(CODE)


def _stop(*_: object) -> None:
    _pressed.set()
    raise KeyboardInterrupt


def _raise_again(lost: sys.UnraisableHookArgs) -> None:
    """Raise Ctrl+C again that came where Python drops errors, such as in `__del__`."""
    if lost.exc_type is KeyboardInterrupt:
        threading.Timer(_SOON, os.kill, [os.getpid(), signal.SIGINT]).start()
    else:
        sys.__unraisablehook__(lost)
