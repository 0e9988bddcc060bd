"""Which faults are answered by one sentence to the user? All others are faults of the program."""

from __future__ import annotations

from collections.abc import Iterable


class UserError(Exception):
    """Something can't be done: one sentence with what, where and how to fix it."""

    exit_code = 3
    """With which the command line ends."""


class UsageError(UserError):
    """Something was asked for in a way that has no answer; the sentence explains how to ask."""

    exit_code = 2


def nearest(given: str, known: Iterable[str]) -> str:
    """Return ' Did you mean …?' with the value that is spelt most alike, or nothing.

    Examples
    --------
    >>> nearest("Skn", ["skin", "occlusion"])
    " Did you mean 'skin'?"
    """
    import difflib

    by_fold = {value.casefold(): value for value in known}
    close = difflib.get_close_matches(given.casefold(), list(by_fold), n=1, cutoff=0.5)
    return f" Did you mean {by_fold[close[0]]!r}?" if close else ""
