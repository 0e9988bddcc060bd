"""Which error is raised when a whole file or a source profile cannot be used?"""

from __future__ import annotations

from analysis.errors import UserError
from analysis.ingest.reasons import FileFault
from analysis.ingest.sentences import file_sentence


class IngestError(UserError):
    """Nothing of a file was imported; the text is one sentence for a user.

    Attributes
    ----------
    code : FileFault
        What is wrong.
    file : str
        The file's own name, or the path that was asked for.
    """

    def __init__(self, code: FileFault, file: str, **facts: object) -> None:
        super().__init__(file_sentence(code, file, **facts))
        self.code = code
        self.file = file


class StillRefusedError(Exception):
    """A corrected row still cannot be used; nothing of it is stored."""

    def __init__(
        self, column: str | None, value: str | None, reason: str, further: str | None = None
    ) -> None:
        super().__init__(reason)
        self.further = further
        self.column = column
        self.value = value
        self.reason = reason


class NotListedError(Exception):
    """The refused row to be fixed is not (or no longer) on the list."""


class ProfileError(UserError):
    """A source profile cannot be used; the text names the file, the key and what to write."""
