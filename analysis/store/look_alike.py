"""Which codes can be mistaken for each other on a screen or on paper?

*Source* of the pairs: Unicode Technical Standard 39, confusables (as the library has them).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import cache


def first_alike(code: str, others: Iterable[str]) -> str | None:
    """The first of some other codes that looks like this one; the same code is none of them."""
    return next((other for other in others if other != code and looks_like(code, other)), None)


def looks_like(one: str, other: str) -> bool:
    """Whether two codes differ at most in letters of the same look, or in case.

    Examples
    --------
    >>> looks_like("N1", "NI"), looks_like("N1", "n1"), looks_like("A0", "AO"), looks_like("N1", "N2")
    (True, True, True, False)
    """
    pairs = zip(_plain(one), _plain(other), strict=False)
    return len(_plain(one)) == len(_plain(other)) and all(
        bool(_looks_of(a) & _looks_of(b)) for a, b in pairs
    )


def _plain(code: str) -> str:
    return unicodedata.normalize("NFKC", code)


@cache
def _looks_of(sign: str) -> frozenset[str]:
    """The sign in both cases, and all signs of the same look."""
    from confusable_homoglyphs.confusables import confusables_data

    cases = {sign, sign.lower(), sign.upper()}
    return frozenset(cases | {h["c"] for case in cases for h in confusables_data.get(case, ())})
