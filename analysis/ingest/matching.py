"""Which of our columns or codes does a word of a sheet mean most likely?"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

SURE = 90.0
"""Likeness (0 to 100) from which a word is proposed without a question."""
POSSIBLE = 62.0
"""Likeness from which a meaning is offered in a question."""
CLEAR_LEAD = 6.0
"""How much more alike the best meaning must be than the second to be proposed."""

_NO_WORD = re.compile(r"[^\w✓✔☑☐✗]+|_", re.UNICODE)


@dataclass(frozen=True)
class Match:
    """A meaning and how alike it is, 0 to 100."""

    meaning: str
    likeness: float


@lru_cache(maxsize=1)
def synonyms() -> Mapping[str, Mapping[str, list[str]]]:
    """Other words for columns and codes."""
    text = (Path(__file__).parent / "synonyms.toml").read_text("utf-8")
    return tomllib.loads(text)


def plain(text: str) -> str:
    """A word without case, marks and full-width forms, for comparing.

    Examples
    --------
    >>> plain(" Line-No. "), plain("ＦＥＶＥＲ")
    ('line no', 'fever')
    """
    wide = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(_NO_WORD.sub(" ", wide).split())


def matches(
    word: str, meanings: Iterable[str], part: str, more: Mapping[str, str] = {}
) -> list[Match]:
    """Meanings of a word, the most likely first.

    Parameters
    ----------
    word : str
        As the source writes it.
    meanings : iterable of str
        Our columns or codes.
    part : str
        ``columns`` or ``codes`` of the synonyms.
    more : mapping of str to str
        Labels of codes that the policy adds.

    Returns
    -------
    list of Match
        Those that are at all possible, by the ratio of equal words in any order (rapidfuzz).

    Examples
    --------
    >>> matches("Line no", ["line_id", "kind"], "columns")[0].meaning
    'line_id'
    """
    from rapidfuzz import fuzz  # takes long to load and is seldom needed

    given = plain(word)
    known = synonyms()[part]
    found = []
    for meaning in meanings:
        words = [meaning, *known.get(meaning, ()), *([more[meaning]] if meaning in more else [])]
        likeness = max(fuzz.token_sort_ratio(given, plain(other)) for other in words)
        if likeness >= POSSIBLE:
            found.append(Match(meaning, likeness))
    return sorted(found, key=lambda match: (-match.likeness, match.meaning))


def sure(found: list[Match]) -> str | None:
    """The meaning to propose; None: it has to be asked."""
    if not found or found[0].likeness < SURE:
        return None
    if len(found) > 1 and found[0].likeness - found[1].likeness < CLEAR_LEAD:
        return found[0].meaning if found[0].likeness == 100 and found[1].likeness < 100 else None
    return found[0].meaning
