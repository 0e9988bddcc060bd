"""How near must a computed value be to one that a source prints?"""

from __future__ import annotations

from decimal import Decimal

import pytest


def printed(text: str) -> object:
    """Equal to what is printed, rounded as the source rounds: half a unit of its last digit.

    ``assert 0.9087 == printed("0.909")`` holds, ``0.9084`` does not.
    """
    last_digit = Decimal(text).as_tuple().exponent
    assert isinstance(last_digit, int)
    return pytest.approx(float(text), rel=0, abs=0.5001 * 10.0**last_digit)
