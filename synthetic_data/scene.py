"""Who takes part in the invented programme, and over which days?

Nothing here exists: teams carry plain words of nature, people carry codes.
"""

from __future__ import annotations

from dataclasses import dataclass

TEAM_WORDS = ("Fern", "Pebble", "Willow")
NURSES_A_TEAM = 4
FAMILIES_A_TEAM = 200
"""Only in programmes with more than three teams' worth of families."""

NEVER = 1 << 19
"""A day that is later than every other (days since 1970: the year 3405)."""


@dataclass(frozen=True)
class Scene:
    """One run of families, simulated together: numbers `first` to `first + families - 1`."""

    first: int
    families: int
    teams: int
    width: int
    start: int
    until: int
    """As-of day as days since 1970: everything generated is dated before it."""

    def team_name(self, team: int) -> str:
        """Name of a team by its number."""
        word = TEAM_WORDS[team % len(TEAM_WORDS)]
        return word if team < len(TEAM_WORDS) else f"{word} {team // len(TEAM_WORDS) + 1}"


def teams_for(families: int) -> int:
    """Three teams, more of them in a programme too large for three."""
    return max(len(TEAM_WORDS), families // FAMILIES_A_TEAM)
