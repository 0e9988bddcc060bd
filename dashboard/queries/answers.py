"""What was a question to one snapshot answered, so that it is worked out once?"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import TypeVar

Answer = TypeVar("Answer")
MOST_KEPT = 256
"""Choices come from addresses, so there may be any number of them."""


class Answers:
    """Answers to questions about one snapshot. Threads may share it."""

    def __init__(self, most_kept: int = MOST_KEPT) -> None:
        self._most_kept = most_kept
        self._lock = threading.Lock()
        self._kept: dict[Hashable, object] = {}

    def of(self, asked: Hashable, work_out: Callable[[], Answer]) -> Answer:
        """The answer to a choice, worked out when it is first asked for."""
        with self._lock:
            if len(self._kept) >= self._most_kept:
                self._kept = {}
            kept = self._kept
        if asked not in kept:
            kept[asked] = work_out()
        return kept[asked]  # type: ignore[return-value]  # a choice has answers of one kind
