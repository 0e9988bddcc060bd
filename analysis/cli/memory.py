"""How does a command that goes through a large file stay small?"""

from __future__ import annotations

import contextlib
import ctypes
import os

POOL = "ARROW_DEFAULT_MEMORY_POOL"
"""Read when Arrow is loaded."""
_MMAP_THRESHOLD = -3
"""*Source:* mallopt(3), ``M_MMAP_THRESHOLD``."""
_LEAST_BYTES = 1_000_000


def return_memory_at_once() -> None:
    """Have columns that are no longer needed returned to the system, not held for later ones.

    For a command that is about to begin and load Arrow: an ingest then holds a third less in the same
    time. Where the system has no such setting, it holds more.
    """
    os.environ.setdefault(POOL, "system")
    with contextlib.suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).mallopt(_MMAP_THRESHOLD, _LEAST_BYTES)
