"""How many connections does each process hold, so that the next one goes where fewest are?

A browser keeps its connection, and with it its process. If the process that happens to wake first
took it, fourteen of twenty people would share one core now and then, and six the other.
"""

from __future__ import annotations

import mmap

PLACES = 64
"""More processes than ever run at once, those that still end counted."""
_AWAY = -1


class Connections:
    """Numbers of open connections, in memory that processes forked later share."""

    def __init__(self) -> None:
        self._held = memoryview(mmap.mmap(-1, 4 * PLACES)).cast("i")
        for place in range(PLACES):
            self._held[place] = _AWAY

    def of(self, number: int) -> Held:
        """The connections of the process that was started as the `number`-th."""
        return Held(self._held, number % PLACES)


class Held:
    """The connections of one process among those of all."""

    def __init__(self, of_all: memoryview[int], place: int) -> None:
        self._of_all = of_all
        self._place = place

    def count(self, connections: int) -> None:
        """Tell the others how many connections this process holds."""
        self._of_all[self._place] = connections

    def leave(self) -> None:
        """Take no more connections, so that the others no longer look at their number."""
        self._of_all[self._place] = _AWAY

    def another_has_fewer(self) -> bool:
        """Whether another process that takes connections holds fewer."""
        own = self._of_all[self._place]
        return any(_AWAY < others < own for others in self._of_all)
