"""What was a question to one snapshot answered, so that it is worked out once?"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import TypeVar

Answer = TypeVar("Answer")
MOST_KEPT = 256
"""Choices come from addresses, so there may be any number of them."""


class _Kept:
    """An answer, or the wait for whoever works it out."""

    def __init__(self) -> None:
        self.working = threading.Lock()
        self.answers: list[object] = []


class Answers:
    """Answers to questions about one snapshot, those asked for lately. Threads may share it."""

    def __init__(self, most_kept: int = MOST_KEPT) -> None:
        self._most_kept = most_kept
        self._lock = threading.Lock()
        self._kept: dict[Hashable, _Kept] = {}

    def of(self, asked: Hashable, work_out: Callable[[], Answer]) -> Answer:
        """The answer to a choice, worked out when it is first asked for.

        Whoever asks meanwhile waits for it: many threads at the same work would all take longer.
        """
        with self._lock:
            kept = self._kept.pop(asked, None) or _Kept()
            self._kept[asked] = kept  # the newest is the last
            if len(self._kept) > self._most_kept:
                del self._kept[next(iter(self._kept))]
        with kept.working:
            if not kept.answers:
                kept.answers.append(work_out())
            return kept.answers[0]  # type: ignore[return-value]  # a choice has answers of one kind
