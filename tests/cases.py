"""How many cases a property test tries: a fixed number in every run, many more in a long one."""

import os
from typing import Any

from hypothesis import HealthCheck, settings

FIXED, LONG = "ci", "long"
MANY = 20
"""How many times its usual cases a test tries in the long profile."""
FEWEST = 4
"""Cases in the fixed profile, or a quarter of the usual ones where that is more."""


def register() -> None:
    """Make both profiles known; the fixed one is used unless pytest is asked for the other."""
    usual = settings(deadline=None, print_blob=True)
    settings.register_profile(FIXED, usual, derandomize=True, max_examples=100)
    settings.register_profile(
        LONG, usual, max_examples=100 * MANY, suppress_health_check=[HealthCheck.too_slow]
    )
    settings.load_profile(FIXED)


def histories(fixed: int = 100, long: int = 2000) -> int:
    """How many random histories a seeded comparison with an oracle makes.

    ``LINEDAYS_TEST_HISTORIES`` sets the number by hand.
    """
    usual = fixed if settings().max_examples <= 100 else long
    return int(os.environ.get("LINEDAYS_TEST_HISTORIES", usual))


def cases(n: int, **more: Any) -> settings:
    """Settings of a test that is worth n cases: a quarter in every run, many more in a long one.

    >>> cases(80).max_examples in (20, 80 * MANY)
    True
    """
    times = settings().max_examples // 100
    few = min(n, max(FEWEST, n // 4))
    return settings(max_examples=few if times == 1 else n * times, **more)
