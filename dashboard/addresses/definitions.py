"""Where is a quantity explained?"""

from __future__ import annotations


def definition_address(key: str) -> str:
    """Where a quantity is explained.

    Examples
    --------
    >>> definition_address("funnel")
    '/definitions#funnel'
    """
    return f"/definitions#{key}"
