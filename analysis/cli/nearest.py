"""Which value was meant? A misspelt one is refused with the values that are known."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from analysis.errors import UsageError

MOST_LISTED = 20


def nearest(given: str, known: Iterable[str]) -> str:
    """Return ' Did you mean …?' with the value that is spelt most alike, or nothing."""
    by_fold = {value.casefold(): value for value in known}
    close = difflib.get_close_matches(given.casefold(), list(by_fold), n=1, cutoff=0.5)
    return f" Did you mean {by_fold[close[0]]!r}?" if close else ""


def check_known(what: str, given: Iterable[str], known: Iterable[object]) -> None:
    """Check that values are among those of the data.

    Parameters
    ----------
    what : str
        What the values are, such as ``site``.
    given : iterable of str
        Values of an option.
    known : iterable
        Values of the data; missing ones are left out.

    Raises
    ------
    UsageError
        A value is not known. The sentence lists those that are, and the nearest one.
    """
    values = sorted({value for value in known if isinstance(value, str)})
    for value in given:
        if value not in values:
            listed = ", ".join(values[:MOST_LISTED]) or "none"
            more = f" and {len(values) - MOST_LISTED} more" if len(values) > MOST_LISTED else ""
            raise UsageError(
                f"The {what} {value!r} is not in the data. Known: {listed}{more}."
                f"{nearest(value, values)}"
            )
