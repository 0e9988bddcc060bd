"""Is a value of an option in the data? One that is not is refused with those that are."""

from __future__ import annotations

from collections.abc import Iterable

from analysis.errors import UsageError, nearest

MOST_LISTED = 20


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
