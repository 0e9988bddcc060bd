"""Which faults are answered by one sentence to the user? All others are faults of the program."""

from __future__ import annotations


class UserError(Exception):
    """Something can't be done: one sentence with what, where and how to fix it."""

    exit_code = 3
    """With which the command line ends."""


class UsageError(UserError):
    """Something was asked for in a way that has no answer; the sentence explains how to ask."""

    exit_code = 2
