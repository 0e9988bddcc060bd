"""Which known code was probably meant by one that is not known?"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping

from analysis.ingest.reasons import Refusal
from analysis.store import Registry

_OF_REASON = {
    Refusal.UNKNOWN_LINE: "line_id",
    Refusal.UNKNOWN_CHILD: "child_id",
    Refusal.UNKNOWN_FAMILY: "family_id",
}
_BETWEEN = re.compile(r"[\s\-_./‐-―−]+")


def folded(code: str) -> str:
    r"""A code without what the eye does not see: case, width, invisible characters, kinds of dash.

    Examples
    --------
    >>> folded("ｌ-０２０６-1\u200b") == folded("L-0206–1")
    True
    """
    seen = code
    if not (code.isascii() and code.isprintable()):  # most are, and have nothing of the kind
        wide = unicodedata.normalize("NFKC", code)
        seen = "".join(c for c in wide if unicodedata.category(c) not in {"Cf", "Cc"})
    return _BETWEEN.sub("", seen).casefold()


class NearCodes:
    """Known codes by what they look like.

    Parameters
    ----------
    known : mapping of str to iterable of str
        Codes of `line_id`, `child_id` and `family_id`.
    """

    def __init__(self, known: Mapping[str, Iterable[str]]) -> None:
        self._known = known
        self._by_look: dict[str, dict[str, set[str]]] = {}

    def suggestion(self, value: str | None, reason: str) -> str:
        """' Did you mean …?' for a code that looks like exactly one known code, or nothing."""
        name = _OF_REASON.get(Refusal(reason))
        if name is None or not value:
            return ""
        found = self._codes(name).get(folded(value), set())
        return f" Did you mean {next(iter(found))}?" if len(found) == 1 else ""

    def _codes(self, name: str) -> dict[str, set[str]]:
        """The codes of one kind by what they look like, found when first asked: seldom is one."""
        if name not in self._by_look:
            by_look: dict[str, set[str]] = {}
            for code in self._known.get(name, ()):
                by_look.setdefault(folded(code), set()).add(code)
            self._by_look[name] = by_look
        return self._by_look[name]


NO_CODES = NearCodes({})
"""Nothing is known, nothing is suggested."""


def codes_of(registry: Registry) -> NearCodes:
    """The codes of a registry of lines."""
    lines = registry.lines
    return NearCodes({name: lines[name].to_pylist() for name in _OF_REASON.values()})
