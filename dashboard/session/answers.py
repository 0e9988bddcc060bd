"""How is an answer about one snapshot computed once, however many people ask for it?"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import TypeVar

Answer = TypeVar("Answer")
MOST_ANSWERS = 256
"""Choices come from addresses, so there may be any number of them."""


class _Entry:
    """An answer, or the wait for the thread that computes it."""

    def __init__(self) -> None:
        self.computing = threading.Lock()
        self.answers: list[object] = []


class AnswerCache:
    """Answers about one snapshot, the most recently used ones. Threads may share it."""

    def __init__(self, most_answers: int = MOST_ANSWERS) -> None:
        self._most_answers = most_answers
        self._lock = threading.Lock()
        self._entries: dict[Hashable, _Entry] = {}

    def get(self, key: Hashable, compute: Callable[[], Answer]) -> Answer:
        """The answer for a key, computed when it is first asked for.

        Other threads that ask for the same key wait for it; those that ask for others do not.
        """
        with self._lock:
            entry = self._entries.pop(key, None) or _Entry()
            self._entries[key] = entry  # the most recently used is the last
            if len(self._entries) > self._most_answers:
                del self._entries[next(iter(self._entries))]
        with entry.computing:
            if not entry.answers:
                entry.answers.append(compute())
            return entry.answers[0]  # type: ignore[return-value]  # a key has answers of one kind

    def computed(self) -> dict[Hashable, object]:
        """The answers that are there now, by key."""
        with self._lock:
            return {key: entry.answers[0] for key, entry in self._entries.items() if entry.answers}
